"""What can sit in a seam, as geometry: sizes in mm, x along the seam from its start."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace

from seamtell.features.contracts import Side
from seamtell.features.errors import SeamtellError

__all__ = ["FlawGeometry", "Hole", "Mismatch", "RoughJoint", "Slot", "moved"]


@dataclass(frozen=True)
class Hole:
    """A round hole normal to the sheet, on the joint: pore, pinhole, burn-through.

    Parameters
    ----------
    x_mm : float
        Centre.
    diameter_mm : float
    side : Side
        ``THROUGH``, or the face that a blind pore opens to.
    depth_mm : float
        Depth of a blind pore; read only when `side` is not ``THROUGH``.
    """

    x_mm: float
    diameter_mm: float
    side: Side = Side.THROUGH
    depth_mm: float = 0.0

    def __post_init__(self) -> None:
        _require_positive("diameter of a hole", self.diameter_mm)
        if self.side is not Side.THROUGH:
            _require_positive("depth of a blind pore", self.depth_mm)

    @property
    def extent_mm(self) -> tuple[float, float]:
        """First and last position."""
        return self.x_mm - self.diameter_mm / 2, self.x_mm + self.diameter_mm / 2


@dataclass(frozen=True)
class Slot:
    """An open slot in the plane of the joint: edge notch, undercut, lack of fusion.

    Parameters
    ----------
    x_mm : float
        Centre.
    depth_points_mm : tuple of (offset_mm, depth_mm)
        Depth along the seam, straight between the points, offsets from `x_mm`, rising.
    width_mm : float
        Opening across the seam.
    side : Side
        Face that the slot opens to.
    """

    x_mm: float
    depth_points_mm: tuple[tuple[float, float], ...]
    width_mm: float
    side: Side = Side.BOTTOM

    def __post_init__(self) -> None:
        offsets = [offset for offset, _ in self.depth_points_mm]
        if len(offsets) < 2 or any(b <= a for a, b in itertools.pairwise(offsets)):
            raise SeamtellError(f"slot depth points at {offsets} mm, expected two or more, rising")
        _require_positive("depth of a slot", max(depth for _, depth in self.depth_points_mm))
        _require_positive("width of a slot", self.width_mm)

    @classmethod
    def even(cls, x_mm: float, length_mm: float, depth_mm: float, width_mm: float, side: Side) -> Slot:
        """Make a slot of one depth."""
        half = length_mm / 2
        return cls(x_mm, ((-half, depth_mm), (half, depth_mm)), width_mm, side)

    @property
    def length_mm(self) -> float:
        """Length along the seam."""
        return self.depth_points_mm[-1][0] - self.depth_points_mm[0][0]

    @property
    def extent_mm(self) -> tuple[float, float]:
        """First and last position."""
        return self.x_mm + self.depth_points_mm[0][0], self.x_mm + self.depth_points_mm[-1][0]


@dataclass(frozen=True)
class Mismatch:
    """Sheet B offset in height over a stretch, with smooth ends.

    Parameters
    ----------
    x_mm : float
        Centre.
    shift_mm : float
        How far sheet B is lowered; negative when it is raised.
    length_mm : float
        Between the half heights of the two ends.
    end_ramp_mm : float
        Length along the seam over which the offset comes and goes.
    """

    x_mm: float
    shift_mm: float
    length_mm: float
    end_ramp_mm: float = 4.0

    def __post_init__(self) -> None:
        _require_positive("size of a mismatch", abs(self.shift_mm))
        _require_positive("length of a mismatch", self.length_mm)
        if not 0 < self.end_ramp_mm <= self.length_mm:
            raise SeamtellError(
                f"mismatch with end ramps of {self.end_ramp_mm} mm on {self.length_mm} mm, "
                "expected ramps above zero and no longer than the mismatch"
            )

    @property
    def extent_mm(self) -> tuple[float, float]:
        """First and last position, ramps included."""
        half = (self.length_mm + self.end_ramp_mm) / 2
        return self.x_mm - half, self.x_mm + half


@dataclass(frozen=True)
class RoughJoint:
    """A bead whose thickness wanders: added height at equidistant points of the joint.

    Parameters
    ----------
    start_mm : float
        Position of the first point.
    spacing_mm : float
        Distance between the points; a fraction of a wavelength.
    added_mm : tuple of float
        Height over the mean bead, both faces together.
    across_mm : float
        Width of the bead across the seam.
    """

    start_mm: float
    spacing_mm: float
    added_mm: tuple[float, ...]
    across_mm: float = 1.0

    @property
    def extent_mm(self) -> tuple[float, float]:
        """First and last position."""
        return self.start_mm, self.start_mm + self.spacing_mm * (len(self.added_mm) - 1)


FlawGeometry = Hole | Slot | Mismatch | RoughJoint


def moved(flaw: FlawGeometry, by_mm: float) -> FlawGeometry:
    """Return the same flaw `by_mm` farther along the seam."""
    if isinstance(flaw, RoughJoint):
        return replace(flaw, start_mm=flaw.start_mm + by_mm)
    return replace(flaw, x_mm=flaw.x_mm + by_mm)


def _require_positive(what: str, value: float) -> None:
    if not value > 0:
        raise SeamtellError(f"{what} is {value} mm, expected more than zero")
