"""One simulated flaw by its sizes alone, so that a search can list, compare and change them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from seamtell.data_synth.expected_flaws import GainBump
from seamtell.data_synth.flaws import FlawGeometry, Hole, Mismatch, RoughJoint, Slot
from seamtell.data_synth.head import Joint
from seamtell.features.contracts import Flaw, Side

__all__ = ["EchoCause", "SimulatedFlaw", "Size"]

_DEEPEST_PART = 0.95
"""A slot deeper than this share of the joint counts as cut through."""
_DROPLET_POINTS = 11


class EchoCause(StrEnum):
    """What an indication can be explained by."""

    PINHOLE = "pinhole"
    EDGE_NOTCH = "edge_notch"
    LACK_OF_FUSION = "lack_of_fusion"
    MISMATCH = "mismatch"
    DROPLET = "droplet"
    """A droplet that froze on the bead: sound metal, yet an echo."""
    GAIN_CHANGE = "gain_change"
    """More or less gain on both channels for a while: no flaw and no echo of one."""

    @property
    def label(self) -> Flaw:
        """The class that a section would find."""
        sound = self in (EchoCause.DROPLET, EchoCause.GAIN_CHANGE)
        return Flaw.SOUND if sound else Flaw(self.value)


class Size(StrEnum):
    """Sizes that a fit speaks of."""

    LENGTH = "length_mm"
    DEPTH = "depth_mm"
    """Deepest point of a slot or a pore."""
    WIDTH = "width_mm"
    """Of a droplet, across the seam."""
    DIAMETER = "diameter_mm"
    """The larger one of two holes."""
    GAP = "gap_mm"
    """Between the centres of two holes."""
    LOWERED = "lowered_mm"
    """How far sheet B lies too low."""
    RAISED = "raised_mm"
    """How far sheet B lies too high."""
    HEIGHT = "height_mm"
    GAIN = "gain_db"


_SIZES_OF: dict[EchoCause, tuple[Size, ...]] = {
    EchoCause.PINHOLE: (Size.DIAMETER, Size.DEPTH, Size.GAP),
    EchoCause.EDGE_NOTCH: (Size.LENGTH, Size.DEPTH),
    EchoCause.LACK_OF_FUSION: (Size.LENGTH, Size.DEPTH),
    EchoCause.MISMATCH: (Size.LENGTH, Size.LOWERED, Size.RAISED),
    EchoCause.DROPLET: (Size.LENGTH, Size.HEIGHT, Size.WIDTH),
    EchoCause.GAIN_CHANGE: (Size.LENGTH, Size.GAIN),
}


@dataclass(frozen=True)
class SimulatedFlaw:
    """A flaw centred at 0 mm; what does not belong to its cause stays 0.

    Parameters
    ----------
    cause : EchoCause
    length_mm : float
        Of a slot, a droplet, a gain change, or between the half heights of a mismatch.
    depth_mm : float
        Deepest point of a slot; depth of a blind pore.
    lean : float
        How a slot's depth changes: ``1 - lean`` of the mean at the first end, ``1 + lean``
        at the last.
    shift_mm : float
        Of a mismatch; above zero where sheet B is lowered.
    second_mm : float
        Diameter of a second hole, `gap_mm` from the first, centre to centre.

    Examples
    --------
    >>> SimulatedFlaw(EchoCause.PINHOLE, diameter_mm=1.2).geometry(Joint(1.5, 1.3))[0].diameter_mm
    1.2
    """

    cause: EchoCause
    length_mm: float = 0.0
    depth_mm: float = 0.0
    width_mm: float = 0.0
    diameter_mm: float = 0.0
    second_mm: float = 0.0
    gap_mm: float = 0.0
    shift_mm: float = 0.0
    ramp_mm: float = 0.0
    height_mm: float = 0.0
    gain_db: float = 0.0
    lean: float = 0.0
    side: Side = Side.NA

    @property
    def sizes(self) -> dict[Size, float]:
        """The sizes that mean something for this flaw."""
        derived = {
            Size.DIAMETER: max(self.diameter_mm, self.second_mm),
            Size.LOWERED: max(self.shift_mm, 0.0),
            Size.RAISED: max(-self.shift_mm, 0.0),
        }
        given = {
            size: derived[size] if size in derived else float(getattr(self, size.value))
            for size in _SIZES_OF[self.cause]
        }
        return {size: value for size, value in given.items() if value or size is Size.GAIN}

    def resized(self, sizes: dict[str, float]) -> SimulatedFlaw:
        """Return the same kind of flaw with other sizes, by field; ramps stay within the length."""
        changed = replace(self, **sizes)  # type: ignore[arg-type]
        return replace(changed, ramp_mm=min(changed.ramp_mm, changed.length_mm))

    @property
    def bump(self) -> GainBump | None:
        """The gain change, where there is one."""
        if self.cause is not EchoCause.GAIN_CHANGE:
            return None
        return GainBump(0.0, self.length_mm, self.gain_db)

    def geometry(self, joint: Joint) -> tuple[FlawGeometry, ...]:
        """The flaw for the wave theory, centred at 0 mm; empty for a gain change."""
        if self.cause is EchoCause.PINHOLE:
            return self._holes()
        if self.cause in (EchoCause.EDGE_NOTCH, EchoCause.LACK_OF_FUSION):
            return (self._slot(joint),)
        if self.cause is EchoCause.MISMATCH:
            return (Mismatch(0.0, self.shift_mm, self.length_mm, self.ramp_mm),)
        if self.cause is EchoCause.DROPLET:
            return (self._droplet(),)
        return ()

    def extent_mm(self) -> float:
        """Length along the seam that the flaw takes, ramps and all holes included."""
        if self.cause is EchoCause.PINHOLE:
            return self.gap_mm + (self.diameter_mm + (self.second_mm or self.diameter_mm)) / 2
        return self.length_mm + self.ramp_mm

    def _holes(self) -> tuple[FlawGeometry, ...]:
        if self.gap_mm:
            return Hole(-self.gap_mm / 2, self.diameter_mm), Hole(self.gap_mm / 2, self.second_mm)
        if self.side in (Side.TOP, Side.BOTTOM):
            return (Hole(0.0, self.diameter_mm, self.side, self.depth_mm),)
        return (Hole(0.0, self.diameter_mm),)

    def _slot(self, joint: Joint) -> Slot:
        def allowed(depth_mm: float) -> float:
            return joint.mean_mm if depth_mm > _DEEPEST_PART * joint.mean_mm else depth_mm

        mean, half = self.depth_mm / (1 + abs(self.lean)), self.length_mm / 2
        ends = tuple((sign * half, allowed(mean * (1 + sign * self.lean))) for sign in (-1, 1))
        if not self.lean:
            return Slot(0.0, ends, self.width_mm, self._face())
        # A leaning slot is cut through only where it is deep: the depth may not lean past the joint.
        offsets = np.linspace(-half, half, 9)
        points = tuple((float(x), allowed(mean * (1 + self.lean * float(x) / half))) for x in offsets)
        return Slot(0.0, points, self.width_mm, self._face())

    def _face(self) -> Side:
        return self.side if self.side is Side.TOP else Side.BOTTOM

    def _droplet(self) -> RoughJoint:
        at = np.linspace(-1, 1, _DROPLET_POINTS)
        heights = tuple((self.height_mm * (1 - at**2)).tolist())
        return RoughJoint(-self.length_mm / 2, self.length_mm / (_DROPLET_POINTS - 1), heights, self.width_mm)
