"""A plate cut across the seam into sections: what mode matching is asked about."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from math import inf, isfinite, isinf

from seamtell.data_synth.scattering.aperture import apertures_between
from seamtell.features.errors import SeamtellError

__all__ = ["Chain", "Interval", "Section"]

Interval = tuple[float, float]


@dataclass(frozen=True)
class Section:
    """A stretch across the seam in which nothing changes.

    Parameters
    ----------
    intervals_mm : tuple of (low, high)
        Heights filled with material, rising, apart from each other.
    length_mm : float
        Across the seam; not read for the two ends of a chain. Zero stands for a crack.
    """

    intervals_mm: tuple[Interval, ...]
    length_mm: float = inf

    @classmethod
    def of(cls, low_mm: float, high_mm: float, length_mm: float = inf) -> Section:
        """Make a section with one interval."""
        return cls(((low_mm, high_mm),), length_mm)

    def __post_init__(self) -> None:
        edges = [edge for interval in self.intervals_mm for edge in interval]
        if not edges or not all(map(isfinite, edges)) or any(b <= a for a, b in itertools.pairwise(edges)):
            raise SeamtellError(
                f"section with material between {list(self.intervals_mm)} mm, expected one or more rising "
                "intervals of more than no height (a ligament above zero)"
            )
        if not self.length_mm >= 0:
            raise SeamtellError(f"section {self.length_mm} mm long, expected zero or more")


@dataclass(frozen=True)
class Chain:
    """Sections one after the other across the seam.

    Parameters
    ----------
    sections : tuple of Section
        Two or more; the first and last have no end.
    start_mm : float
        Where the first section ends. Reflections are referred to y = 0, on both sides.
    """

    sections: tuple[Section, ...]
    start_mm: float = 0.0

    def __post_init__(self) -> None:
        if len(self.sections) < 2:
            raise SeamtellError(f"chain of {len(self.sections)} section, expected two or more")
        inner = self.sections[1:-1]
        if any(isinf(section.length_mm) for section in inner):
            raise SeamtellError("section without end inside a chain, expected a length in mm")
        solid = [self.sections[0], *(s for s in inner if s.length_mm > 0), self.sections[-1]]
        for before, after in itertools.pairwise(solid):
            if not apertures_between(before.intervals_mm, after.intervals_mm, ()):
                raise SeamtellError(
                    f"sections {before.intervals_mm} and {after.intervals_mm} mm do not touch, expected "
                    "a common ligament above zero",
                    do="treat it as a slot through the sheet",
                )

    @property
    def end_mm(self) -> float:
        """Where the last section begins."""
        return self.start_mm + sum(section.length_mm for section in self.sections[1:-1])
