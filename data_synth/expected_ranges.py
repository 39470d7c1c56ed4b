"""What an engineer expects in a seam before the first section: ranges, one set a class.

Sizes in mm are those that the trade names; depths and shifts are shares of the sheet,
so that one set serves every recipe. Lengths in mm whose ends lie more than a factor of
three apart are drawn log-uniformly (as many between 5 and 10 mm as between 40 and
80 mm), everything else uniformly: the spread of an opinion, not of a process. Nothing
here knows the distributions of any shop.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from enum import StrEnum
from math import isfinite

from seamtell.features.contracts import Flaw
from seamtell.features.errors import SeamtellError

__all__ = [
    "EdgeNotchRange",
    "FlawRanges",
    "LackOfFusionRange",
    "MismatchRange",
    "PinholeRange",
    "SoundCause",
    "SoundRange",
]

Range = tuple[float, float]


class SoundCause(StrEnum):
    """What raises an indication on sound metal."""

    DROPLET = "droplet"
    """A droplet that froze on the bead."""
    BOUNCE = "bounce"
    """The head comes closer for a moment: one gain for both channels."""
    ROUGH_STRETCH = "rough_stretch"
    """A stretch of uneven but sound bead."""


class _Checked:
    """Ranges must rise, shares must lie within 0 to 1, in whatever subclass."""

    def __post_init__(self) -> None:
        for one in fields(self):  # type: ignore[arg-type]
            _check(type(self).__name__, one.name, getattr(self, one.name))


@dataclass(frozen=True)
class PinholeRange(_Checked):
    """Gas pores and burn-through holes.

    0.2-2 mm is the trade's statement of size (common practice). That a third are open to
    one face only, that one in eight has a neighbour, and how near: invented.
    """

    diameter_mm: Range = (0.2, 2.0)
    blind_share: float = 0.33
    blind_depth_share: Range = (0.3, 0.95)
    top_share: float = 0.6
    second_share: float = 0.12
    second_gap_mm: Range = (1.0, 8.0)


@dataclass(frozen=True)
class EdgeNotchRange(_Checked):
    """Short slots of part depth at one edge: undercut, mouse bite.

    2-10 mm long (common practice); depth anywhere from a tenth to eight tenths of the
    joint, openings from a hairline to half a sheet, ends from square to half rounded: invented.
    """

    length_mm: Range = (2.0, 10.0)
    depth_share: Range = (0.1, 0.8)
    width_mm: Range = (0.05, 0.6)
    end_depth_share: Range = (0.4, 1.0)
    flat_share: Range = (0.5, 0.95)
    top_share: float = 0.5


@dataclass(frozen=True)
class LackOfFusionRange(_Checked):
    """Unfused joints, from even to ragged, part of the depth or all of it.

    5-80 mm long, part or full penetration (common practice). The full share, a gap of
    hundredths to three tenths, a depth that wanders by up to a quarter and leans by up
    to a third from one end to the other: invented.
    """

    length_mm: Range = (5.0, 80.0)
    depth_share: Range = (0.1, 1.0)
    full_share: float = 0.2
    width_mm: Range = (0.03, 0.3)
    raggedness: Range = (0.0, 0.25)
    taper: Range = (0.0, 0.35)
    end_depth_share: Range = (0.4, 1.0)
    top_share: float = 0.25


@dataclass(frozen=True)
class MismatchRange(_Checked):
    """Sheets offset in height.

    10-200 mm long (common practice). A shift of 5-35 % of the thinner sheet: below is
    within every procedure's allowance, above is seen by eye (invented). Up or down alike.
    """

    length_mm: Range = (10.0, 200.0)
    shift_share: Range = (0.05, 0.35)
    end_ramp_mm: Range = (1.0, 20.0)
    raised_share: float = 0.5


@dataclass(frozen=True)
class SoundRange(_Checked):
    """What looks like a flaw on sound metal; all invented, the orders of size by experience of beads.

    Droplets of a third of the sheet; a head that hops by a tenth of a millimetre gains
    or loses some 2 dB; an uneven bead of a few hundredths of a millimetre.
    """

    droplet_share: float = 0.4
    droplet_height_mm: Range = (0.1, 0.8)
    droplet_length_mm: Range = (0.8, 6.0)
    droplet_across_mm: Range = (0.5, 2.0)
    bounce_share: float = 0.3
    bounce_gain_db: Range = (0.8, 6.0)
    bounce_length_mm: Range = (5.0, 40.0)
    rough_length_mm: Range = (10.0, 80.0)
    rough_rms_mm: Range = (0.02, 0.08)
    rough_correlation_mm: Range = (1.0, 4.0)
    rough_across_mm: Range = (0.6, 1.4)

    def __post_init__(self) -> None:
        super().__post_init__()
        if self.droplet_share + self.bounce_share > 1:
            raise SeamtellError(
                f"droplet_share {self.droplet_share} and bounce_share {self.bounce_share} exceed 1 together",
                where="expected ranges of 'sound'",
                do="lower one; rough stretches take what the two leave",
            )


@dataclass(frozen=True)
class FlawRanges:
    """Ranges of every class; a class that is ``None`` is not simulated.

    Examples
    --------
    >>> FlawRanges(mismatch=None).labels == (Flaw.PINHOLE, Flaw.EDGE_NOTCH, Flaw.LACK_OF_FUSION, Flaw.SOUND)
    True
    """

    pinhole: PinholeRange | None = field(default_factory=PinholeRange)
    edge_notch: EdgeNotchRange | None = field(default_factory=EdgeNotchRange)
    lack_of_fusion: LackOfFusionRange | None = field(default_factory=LackOfFusionRange)
    mismatch: MismatchRange | None = field(default_factory=MismatchRange)
    sound: SoundRange | None = field(default_factory=SoundRange)

    @property
    def labels(self) -> tuple[Flaw, ...]:
        """Classes that are simulated."""
        return tuple(flaw for flaw in Flaw if getattr(self, flaw.value) is not None)


def _check(owner: str, name: str, value: float | Range) -> None:
    where = f"expected ranges, {owner.removesuffix('Range')}"
    if isinstance(value, tuple):
        low, high = value
        upper = 1.0 if name.endswith("_share") else float("inf")
        if not (isfinite(low) and isfinite(high) and 0 <= low <= high <= upper):
            raise SeamtellError(
                f"{name} is {low:g} to {high:g}, expected rising values within 0 to {upper:g}", where=where
            )
        if name.endswith("_mm") and low <= 0:
            raise SeamtellError(f"{name} begins at {low:g} mm, expected more than zero", where=where)
    elif not 0 <= value <= 1:
        raise SeamtellError(f"{name} is {value:g}, expected a share within 0 to 1", where=where)
