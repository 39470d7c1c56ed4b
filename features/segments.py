"""Segments of one channel: stretches that stand out of the noise, by hysteresis.

Three rules beside the two thresholds keep them true to the beam:

- What is less than 15 % of something within one beam width is the tail of that
  something: a Gaussian beam answers there with 6 %, the full-wave scans of small
  holes with 12 %. So tails do not join two flaws that lie apart, and the extent of a
  strong flaw does not depend on the noise.
- What is narrower than a quarter of the beam is no echo.
- What does not stand out of the slope of something higher as clearly as it should
  out of the baseline is a shoulder of that.

Samples above the limit are exempt from all of them: they always belong to a segment.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["BRIDGE_BEAMS", "NARROWEST_BEAMS", "TAIL_SHARE", "Segment", "find_segments"]

TAIL_SHARE = 0.15
"""Less than this share of the highest excursion within one beam width is its tail."""
NARROWEST_BEAMS = 0.25
"""Segments narrower than this are noise."""
BRIDGE_BEAMS = 0.35
"""Gaps in one channel up to this length are bridged."""

Segment = tuple[int, int]
"""First and last sample, both inside."""


def find_segments(
    excursion_sigma: NDArray[np.float64],
    above_limit: NDArray[np.bool_],
    judged: NDArray[np.bool_],
    *,
    beam_samples: float,
    enter_sigma: float,
    leave_sigma: float,
) -> list[Segment]:
    """Segments of one channel in order of position.

    Parameters
    ----------
    excursion_sigma : ndarray of shape (n,)
        Excursion over the baseline in units of its noise.
    above_limit, judged : ndarray of bool, shape (n,)
        Samples above the limit, and samples that may belong to a segment at all.
    beam_samples : float
        Beam width over sample pitch.
    enter_sigma, leave_sigma : float
        A segment needs one sample above the first and ends below the second.

    Returns
    -------
    list of (int, int)

    Examples
    --------
    >>> hump = 20 * np.exp(-0.5 * ((np.arange(100) - 50) / 8.0) ** 2)
    >>> no = np.zeros(100, dtype=bool)
    >>> find_segments(hump, no, ~no, beam_samples=19, enter_sigma=5, leave_sigma=2.5)
    [(35, 65)]
    """
    from scipy.ndimage import maximum_filter1d

    reach = 2 * max(1, round(beam_samples)) + 1
    highest_near = maximum_filter1d(excursion_sigma, size=reach, mode="nearest")
    alive = judged & (excursion_sigma > leave_sigma) & (excursion_sigma >= TAIL_SHARE * highest_near)
    kept = judged & above_limit
    for first, last in _runs(alive):
        wide = last - first + 1 >= NARROWEST_BEAMS * beam_samples or _touches_end(first, last, judged)
        if wide and excursion_sigma[first : last + 1].max() > enter_sigma:
            kept[first : last + 1] = True
    bridged = _bridge(_runs(kept), BRIDGE_BEAMS * beam_samples)
    seen = np.where(judged, excursion_sigma, -np.inf)
    return [s for s in bridged if above_limit[s[0] : s[1] + 1].any() or _rise(seen, s) > enter_sigma]


def _runs(mask: NDArray[np.bool_]) -> list[Segment]:
    """First and last sample of every run of true samples."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], mask, [False])).astype(np.int8)))
    return [(int(first), int(after) - 1) for first, after in zip(edges[::2], edges[1::2], strict=True)]


def _touches_end(first: int, last: int, judged: NDArray[np.bool_]) -> bool:
    """Whether a run is cut short by a dead zone or the end of the seam."""
    return first == 0 or last == len(judged) - 1 or not (judged[first - 1] and judged[last + 1])


def _bridge(runs: list[Segment], longest_gap: float) -> list[Segment]:
    """Join runs whose gap is short."""
    joined: list[Segment] = []
    for first, last in runs:
        if joined and first - joined[-1][1] - 1 <= longest_gap:
            joined[-1] = (joined[-1][0], last)
        else:
            joined.append((first, last))
    return joined


def _rise(excursion: NDArray[np.float64], segment: Segment) -> float:
    """How far the segment's peak stands above the way to anything higher; infinite without such."""
    first, last = segment
    peak = first + int(np.argmax(excursion[first : last + 1]))
    height = excursion[peak]
    saddle = -np.inf
    for side in (excursion[peak::-1], excursion[peak:]):
        higher = np.flatnonzero(side > height)
        if len(higher):
            saddle = max(saddle, float(side[: higher[0]].min()))
    return float(height - saddle)
