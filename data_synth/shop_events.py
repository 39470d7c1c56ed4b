"""What happens in an invented shop beside its usual rates: bad coils, marks of a fixture, fading heads."""

from __future__ import annotations

from dataclasses import dataclass

from seamtell.features.contracts import Flaw

__all__ = ["Fading", "FixtureMark", "Incident"]


@dataclass(frozen=True)
class Fading:
    """A head that loses amplitude evenly, until it is mended.

    Parameters
    ----------
    from_week, weeks : float
    loss_db : float
        At the end, on both channels.
    mended_in_week : float
    """

    from_week: float
    weeks: float
    loss_db: float
    mended_in_week: float

    def loss_after(self, week: float) -> float:
        """Loss in dB `week` weeks after the start of the shop.

        Examples
        --------
        >>> fading = Fading(from_week=30, weeks=6, loss_db=3.0, mended_in_week=38)
        >>> [fading.loss_after(week) for week in (29, 33, 36, 37.9, 38)]
        [0.0, 1.5, 3.0, 3.0, 0.0]
        """
        if not self.from_week <= week < self.mended_in_week:
            return 0.0
        return self.loss_db * min((week - self.from_week) / self.weeks, 1.0)


@dataclass(frozen=True)
class Incident:
    """More of one flaw on one line for some days, or for one shift: that is one coil.

    Parameters
    ----------
    flaws_per_seam : float
        In addition to the usual ones.
    first_day, last_day : int
        Counted from the start of the shop, both inside.
    shift : str
        Empty: every one.
    """

    flaw: Flaw
    line: str
    first_day: int
    last_day: int
    flaws_per_seam: float
    shift: str = ""

    def met_by(self, line: str, day: int, shift: str) -> bool:
        """Whether a seam of that line, day and shift is struck."""
        inside = self.first_day <= day <= self.last_day
        return inside and line == self.line and self.shift in ("", shift)


@dataclass(frozen=True)
class FixtureMark:
    """A flaw that comes back at one place of the seam, as a worn fixture or roll makes it.

    Parameters
    ----------
    share : float
        Of the seams of that line and time.
    position_mm, spread_mm : float
        Mean and standard deviation of its middle.
    """

    flaw: Flaw
    line: str
    first_day: int
    last_day: int
    share: float
    position_mm: float
    spread_mm: float = 1.5

    def met_by(self, line: str, day: int) -> bool:
        """Whether a seam of that line and day can carry it."""
        return self.first_day <= day <= self.last_day and line == self.line
