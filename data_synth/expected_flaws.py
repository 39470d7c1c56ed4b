"""Flaws drawn from what an engineer expects, `expected_ranges`; one at a time, centred at 0 mm.

Lengths in mm whose ends lie more than a factor of three apart are drawn log-uniformly,
everything else uniformly. Nothing that the theory cannot answer is drawn: no depth
beyond the joint, no ligament thinner than a twentieth of it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import exp, log

import numpy as np

from seamtell.data_synth.expected_ranges import (
    EdgeNotchRange,
    FlawRanges,
    LackOfFusionRange,
    MismatchRange,
    PinholeRange,
    SoundCause,
    SoundRange,
)
from seamtell.data_synth.flaws import FlawGeometry, Hole, Mismatch, RoughJoint, Slot, moved
from seamtell.data_synth.head import Joint
from seamtell.data_synth.smooth_random import smooth_random
from seamtell.features.contracts import Flaw, Side
from seamtell.features.errors import SeamtellError

__all__ = [
    "EdgeNotchRange",
    "ExpectedFlaw",
    "FlawRanges",
    "GainBump",
    "LackOfFusionRange",
    "MismatchRange",
    "PinholeRange",
    "SoundCause",
    "SoundRange",
    "draw_expected_flaw",
]

_LOG_FROM_FACTOR = 3.0
_DEEPEST_PART = 0.95
"""A slot deeper than this share of the joint counts as cut through: no ligament is thinner."""
_SHALLOWEST = 0.05
_POINT_SPACING_MM = 2.0
_ROUGH_SPACING_MM = 0.5


@dataclass(frozen=True)
class GainBump:
    """A gain common to both channels that comes and goes over `length_mm`, smooth at both ends."""

    x_mm: float
    length_mm: float
    gain_db: float

    def factor(self, positions_mm: np.ndarray) -> np.ndarray:
        """Factor on the amplitude, shape of `positions_mm`; exactly 1 outside the bump."""
        turn = np.clip(np.abs(positions_mm - self.x_mm) / (self.length_mm / 2), 0.0, 1.0)
        factor: np.ndarray = 10 ** (self.gain_db * (0.5 + 0.5 * np.cos(np.pi * turn)) / 20)
        return np.where(turn < 1, factor, 1.0)


@dataclass(frozen=True)
class ExpectedFlaw:
    """One drawn flaw, centred at 0 mm; `label` is ``sound`` for what only looks like one.

    Parameters
    ----------
    label : Flaw
    cause : str
        The class, or a `SoundCause`.
    geometry : tuple of FlawGeometry
        Empty for a bounce, which is no echo of the joint.
    start_mm, end_mm : float
        Extent along the seam, ramps included.
    length_mm : float
        Nominal length; the diameter of a hole.
    depth_mm, width_mm : float
        0 where they mean nothing.
    bump : GainBump, optional
        Of a bounce.
    """

    label: Flaw
    cause: str
    geometry: tuple[FlawGeometry, ...]
    start_mm: float
    end_mm: float
    length_mm: float
    depth_mm: float = 0.0
    width_mm: float = 0.0
    side: Side = Side.NA
    bump: GainBump | None = None

    def placed(self, by_mm: float) -> ExpectedFlaw:
        """Return the same flaw `by_mm` farther along the seam."""
        return replace(
            self,
            geometry=tuple(moved(part, by_mm) for part in self.geometry),
            start_mm=self.start_mm + by_mm,
            end_mm=self.end_mm + by_mm,
            bump=None if self.bump is None else replace(self.bump, x_mm=self.bump.x_mm + by_mm),
        )


def draw_expected_flaw(
    label: Flaw,
    joint: Joint,
    rng: np.random.Generator,
    ranges: FlawRanges | None = None,
    cause: SoundCause | None = None,
) -> ExpectedFlaw:
    """Draw one flaw of a class, centred at 0 mm.

    Parameters
    ----------
    cause : SoundCause, optional
        For ``sound``: which; default: drawn by the shares of the range.

    Raises
    ------
    SeamtellError
        The class has no range.

    Examples
    --------
    >>> flaw = draw_expected_flaw(Flaw.PINHOLE, Joint(1.5, 1.3), np.random.default_rng(1))
    >>> 0.2 <= flaw.length_mm <= 12 and flaw.label is Flaw.PINHOLE
    True
    """
    ranges = ranges or FlawRanges()
    if label is Flaw.PINHOLE and ranges.pinhole is not None:
        return _pinhole(ranges.pinhole, joint, rng)
    if label is Flaw.EDGE_NOTCH and ranges.edge_notch is not None:
        return _edge_notch(ranges.edge_notch, joint, rng)
    if label is Flaw.LACK_OF_FUSION and ranges.lack_of_fusion is not None:
        return _lack_of_fusion(ranges.lack_of_fusion, joint, rng)
    if label is Flaw.MISMATCH and ranges.mismatch is not None:
        return _mismatch(ranges.mismatch, joint, rng)
    if label is Flaw.SOUND and ranges.sound is not None:
        return _sound(ranges.sound, rng, cause)
    raise SeamtellError(
        f"class '{label.value}' has no expected range",
        where="expected flaws",
        do="give it a range, or do not ask for it",
    )


def _between(rng: np.random.Generator, ends: tuple[float, float]) -> float:
    return float(rng.uniform(*ends))


def _length(rng: np.random.Generator, ends_mm: tuple[float, float]) -> float:
    low, high = ends_mm
    if high <= _LOG_FROM_FACTOR * low:
        return float(rng.uniform(low, high))
    return float(np.clip(exp(rng.uniform(log(low), log(high))), low, high))


def _side(rng: np.random.Generator, top_share: float) -> Side:
    return Side.TOP if rng.random() < top_share else Side.BOTTOM


def _pinhole(expected: PinholeRange, joint: Joint, rng: np.random.Generator) -> ExpectedFlaw:
    holes = [_hole(expected, joint, rng, 0.0)]
    if rng.random() < expected.second_share:
        second = _hole(expected, joint, rng, 0.0)
        apart = (holes[0].diameter_mm + second.diameter_mm) / 2 + _length(rng, expected.second_gap_mm)
        holes.append(replace(second, x_mm=apart))
    start, end = holes[0].extent_mm[0], holes[-1].extent_mm[1]
    deepest = max(joint.mean_mm if hole.side is Side.THROUGH else hole.depth_mm for hole in holes)
    widest = max(hole.diameter_mm for hole in holes)
    flaw = ExpectedFlaw(
        Flaw.PINHOLE, "pinhole", tuple(holes), start, end, end - start, deepest, widest, holes[0].side
    )
    return flaw.placed(-(start + end) / 2)


def _hole(expected: PinholeRange, joint: Joint, rng: np.random.Generator, x_mm: float) -> Hole:
    diameter = _length(rng, expected.diameter_mm)
    if rng.random() >= expected.blind_share:
        return Hole(x_mm, diameter)
    depth = _between(rng, expected.blind_depth_share) * joint.mean_mm
    return Hole(x_mm, diameter, _side(rng, expected.top_share), depth)


def _edge_notch(expected: EdgeNotchRange, joint: Joint, rng: np.random.Generator) -> ExpectedFlaw:
    half = _length(rng, expected.length_mm) / 2
    depth = min(_between(rng, expected.depth_share), _DEEPEST_PART) * joint.mean_mm
    width = _length(rng, expected.width_mm)
    flat = min(_between(rng, expected.flat_share), 0.98) * half
    ends = [_between(rng, expected.end_depth_share) * depth for _ in range(2)]
    side = _side(rng, expected.top_share)
    slot = Slot(0.0, ((-half, ends[0]), (-flat, depth), (flat, depth), (half, ends[1])), width, side)
    return ExpectedFlaw(Flaw.EDGE_NOTCH, "edge_notch", (slot,), -half, half, 2 * half, depth, width, side)


def _lack_of_fusion(expected: LackOfFusionRange, joint: Joint, rng: np.random.Generator) -> ExpectedFlaw:
    length = _length(rng, expected.length_mm)
    full = rng.random() < expected.full_share
    mean = 1.0 if full else _between(rng, expected.depth_share)
    n = max(int(length / _POINT_SPACING_MM), 4)
    offsets = np.linspace(-length / 2, length / 2, n + 1)
    lean = _between(rng, expected.taper) * rng.choice((-1.0, 1.0)) * offsets / length
    wander = _between(rng, expected.raggedness) * smooth_random(n + 1, 2.0, rng)
    share = np.clip(mean * (1 + lean + wander), _SHALLOWEST, 1.0)
    share[[0, -1]] *= [_between(rng, expected.end_depth_share) for _ in range(2)]
    share = np.clip(np.where(share > _DEEPEST_PART, 1.0, share), _SHALLOWEST, 1.0)
    width = _length(rng, expected.width_mm)
    side = _side(rng, expected.top_share)
    points = tuple((float(x), float(s * joint.mean_mm)) for x, s in zip(offsets, share, strict=True))
    slot = Slot(0.0, points, width, side)
    shown = Side.THROUGH if share.max() == 1 else side
    deepest = float(share.max()) * joint.mean_mm
    half = length / 2
    return ExpectedFlaw(
        Flaw.LACK_OF_FUSION, "lack_of_fusion", (slot,), -half, half, length, deepest, width, shown
    )


def _mismatch(expected: MismatchRange, joint: Joint, rng: np.random.Generator) -> ExpectedFlaw:
    length = _length(rng, expected.length_mm)
    shift = _between(rng, expected.shift_share) * min(joint.sheet_a_mm, joint.sheet_b_mm)
    raised = rng.random() < expected.raised_share
    ramp = min(_length(rng, expected.end_ramp_mm), length)
    part = Mismatch(0.0, -shift if raised else shift, length, ramp)
    start, end = part.extent_mm
    return ExpectedFlaw(Flaw.MISMATCH, "mismatch", (part,), start, end, length, shift)


def _sound(expected: SoundRange, rng: np.random.Generator, cause: SoundCause | None) -> ExpectedFlaw:
    drawn = rng.random()
    if cause is None:
        rough = drawn >= expected.droplet_share + expected.bounce_share
        cause = SoundCause.ROUGH_STRETCH if rough else SoundCause.BOUNCE
        cause = SoundCause.DROPLET if drawn < expected.droplet_share else cause
    if cause is SoundCause.DROPLET:
        return _droplet(expected, rng)
    if cause is SoundCause.BOUNCE:
        length = _length(rng, expected.bounce_length_mm)
        bump = GainBump(0.0, length, _between(rng, expected.bounce_gain_db))
        return ExpectedFlaw(Flaw.SOUND, cause.value, (), -length / 2, length / 2, length, bump=bump)
    return _rough_stretch(expected, rng)


def _droplet(expected: SoundRange, rng: np.random.Generator) -> ExpectedFlaw:
    """A lump with the outline of a parabola."""
    length, across = _length(rng, expected.droplet_length_mm), _length(rng, expected.droplet_across_mm)
    height = _length(rng, expected.droplet_height_mm)
    n = 11
    at = np.linspace(-1, 1, n)
    lump = RoughJoint(-length / 2, length / (n - 1), tuple((height * (1 - at**2)).tolist()), across)
    return ExpectedFlaw(
        Flaw.SOUND,
        SoundCause.DROPLET.value,
        (lump,),
        -length / 2,
        length / 2,
        length,
        0.0,
        across,
        Side.TOP,
    )


def _rough_stretch(expected: SoundRange, rng: np.random.Generator) -> ExpectedFlaw:
    """Random heights that swell and fade over the stretch."""
    length = _length(rng, expected.rough_length_mm)
    n = int(length / _ROUGH_SPACING_MM) + 1
    correlation = _length(rng, expected.rough_correlation_mm) / _ROUGH_SPACING_MM
    swell = np.sin(np.pi * np.arange(n) / max(n - 1, 1))
    height = _length(rng, expected.rough_rms_mm) * swell * smooth_random(n, correlation, rng)
    across = _length(rng, expected.rough_across_mm)
    half = (n - 1) * _ROUGH_SPACING_MM / 2
    bead = RoughJoint(-half, _ROUGH_SPACING_MM, tuple(height.tolist()), across)
    cause = SoundCause.ROUGH_STRETCH.value
    return ExpectedFlaw(Flaw.SOUND, cause, (bead,), -half, half, 2 * half, 0.0, across, Side.TOP)
