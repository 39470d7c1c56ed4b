"""What the shop's own plot shows: stretches that stand out of the seam's median.

A plain rule of the invented shop, used only to choose where it cuts. It is not
seamtell's way to find indications, and must not be: the cuts must not know it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from seamtell.features.contracts import Channel, RecipeLimits, SeamTrace

__all__ = ["Excursion", "find_excursions"]

_JOIN_MM = 9.0


@dataclass(frozen=True)
class Excursion:
    """One stretch; `of_limit` is its height over the median in parts of the way to the limit."""

    start_mm: float
    end_mm: float
    peak_mm: float
    of_limit: float

    @property
    def exceeds_limit(self) -> bool:
        """Whether a sample lies above the limit."""
        return self.of_limit > 1


def find_excursions(trace: SeamTrace, limits: RecipeLimits, share: float) -> tuple[Excursion, ...]:
    """Find stretches more than `share` of the way from the median to the limit, either channel."""
    heights = []
    for channel in Channel:
        amplitude = trace.amplitudes_pct[channel].astype(np.float64)
        median = float(np.median(amplitude))
        heights.append((amplitude - median) / max(limits.limit_pct[channel] - median, 1.0))
    height = np.maximum(*heights)
    at = trace.positions_mm()
    judged = (at >= at[0] + limits.dead_zone_start_mm) & (at <= at[-1] - limits.dead_zone_end_mm)
    above = np.flatnonzero((height > share) & judged)
    if not len(above):
        return ()
    breaks = np.flatnonzero(np.diff(at[above]) > _JOIN_MM) + 1
    return tuple(_excursion(part, at, height, heights[0]) for part in np.split(above, breaks))


def _excursion(part: np.ndarray, at: np.ndarray, height: np.ndarray, specular: np.ndarray) -> Excursion:
    # A reader aims at the middle of a plateau, so specular decides wherever it shows the stretch.
    guide = specular if specular[part].max() > 0.5 * height[part].max() else height
    peak = int(part[int(np.argmax(guide[part]))])
    return Excursion(float(at[part[0]]), float(at[part[-1]]), float(at[peak]), float(height[part].max()))
