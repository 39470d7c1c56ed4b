"""Where on a seam a flaw may be put: stretches clear of everything, and what is left of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from seamtell.data_synth.expected_flaws import ExpectedFlaw

__all__ = ["CLEAR_BEAMS", "Room", "free_stretches"]

CLEAR_BEAMS = 2.0
"""Beam widths that a flaw keeps from whatever else stands on the seam."""

_MOST_FLAWS = 3
_MOST_FLAWED_SHARE = 0.5

Extent = tuple[float, float]


def free_stretches(judged: Extent, taken: Sequence[Extent], clear_mm: float) -> tuple[Extent, ...]:
    """Stretches of the judged part of a seam that stay `clear_mm` away from what is taken.

    Examples
    --------
    >>> free_stretches((0.0, 100.0), [(40.0, 50.0)], 10.0)
    ((0.0, 30.0), (60.0, 100.0))
    """
    free: list[Extent] = []
    at = judged[0]
    for start, end in sorted(taken):
        if start - clear_mm > at:
            free.append((at, min(start - clear_mm, judged[1])))
        at = max(at, end + clear_mm)
    if at < judged[1]:
        free.append((at, judged[1]))
    return tuple((start, end) for start, end in free if end > start)


@dataclass
class Room:
    """What is left of one seam while flaws are put into it.

    Parameters
    ----------
    stretches : tuple of (start_mm, end_mm)
        Clear of everything that was there before.
    length_mm, beam_width_mm : float
        Of the seam and of the beam.
    flaws : list of ExpectedFlaw
        Placed so far.
    """

    stretches: tuple[Extent, ...]
    length_mm: float
    beam_width_mm: float
    flaws: list[ExpectedFlaw] = field(default_factory=list)

    @property
    def is_full(self) -> bool:
        """Whether no further flaw is taken."""
        return len(self.flaws) >= _MOST_FLAWS

    def place(self, flaw: ExpectedFlaw, rng: np.random.Generator) -> bool:
        """Put a flaw somewhere; False when no free stretch is long enough."""
        reach = flaw.end_mm - flaw.start_mm
        flawed = reach + sum(other.end_mm - other.start_mm for other in self.flaws)
        taken = [(other.start_mm, other.end_mm) for other in self.flaws]
        # two flaws: each keeps its own distance from the other
        clear = 2 * CLEAR_BEAMS * self.beam_width_mm
        free = [part for whole in self.stretches for part in free_stretches(whole, taken, clear)]
        slack = np.array([end - start - reach for start, end in free])
        if self.is_full or flawed > _MOST_FLAWED_SHARE * self.length_mm or not (slack > 0).any():
            return False
        slack = np.clip(slack, 0, None)
        chosen = int(rng.choice(len(free), p=slack / slack.sum()))
        start = free[chosen][0] + float(rng.uniform(0, slack[chosen]))
        self.flaws.append(flaw.placed(start - flaw.start_mm))
        return True
