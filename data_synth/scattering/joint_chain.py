"""Cross-sections of a joint as chains of sections: sound, with a slot, offset, with a bead.

The ramp of the top surface, half a cosine wave, becomes stairs. Twelve give a reflection
within 7e-4 of that of forty; a test holds that.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from math import pi, sin

from seamtell.data_synth.head import Joint
from seamtell.data_synth.scattering.mode_matching import Chain, Section
from seamtell.features.contracts import Side
from seamtell.features.errors import SeamtellError

__all__ = [
    "STAIRS",
    "bead_chain",
    "deepest_slot_mm",
    "embedded_chain",
    "offset_chain",
    "slot_chain",
    "sound_chain",
]

STAIRS = 12
"""Over the whole ramp of a sound joint or of one offset surface."""
OFFSET_STAIRS = 6
FULL_RAMP_SHIFT_MM = 0.15
"""Offset from which the two stepped surfaces stand a whole ramp apart."""

_SAME_MM = 1e-9
_BESIDE_STAIRS = 2
_LEAST_STAIR_SHARE = 0.1
_LEAST_STAIR_OF_SHEET = 0.03
"""Of half the ramp, and of the sheet. Shorter stairs are left out: their steps are a few hundredths of
the ramp's, and near fields that tunnel through a sliver cost many trial functions.
"""
Interval = tuple[float, float]


def _ramp(y_mm: float, joint: Joint) -> float:
    """Share of a ramp around y = 0 that has been passed at `y_mm`, 0 to 1."""
    return 0.5 + 0.5 * sin(pi * min(max(y_mm / joint.ramp_mm, -0.5), 0.5))


def _top(y_mm: float, joint: Joint) -> float:
    return joint.sheet_a_mm + (joint.sheet_b_mm - joint.sheet_a_mm) * _ramp(y_mm, joint)


def _even(low: float, high: float, pieces: int) -> list[float]:
    return [low + (high - low) * i / pieces for i in range(pieces + 1)]


def _edges_around(joint: Joint, width_mm: float) -> list[float]:
    """Edges of a strip around the seam and of the stairs inside and beside it.

    Stairs move with the strip, so that strengths change smoothly with its width.
    """
    half, ramp_half = width_mm / 2, joint.ramp_mm / 2
    least = max(_LEAST_STAIR_SHARE * ramp_half, _LEAST_STAIR_OF_SHEET * joint.mean_mm)
    inside = half if abs(half - ramp_half) < least else min(half, ramp_half)
    pieces = 2 if width_mm <= joint.ramp_mm else 4
    edges = [-half, half, *_even(-inside, inside, pieces)]
    if ramp_half - half >= least:
        edges += [*_even(-ramp_half, -half, _BESIDE_STAIRS), *_even(half, ramp_half, _BESIDE_STAIRS)]
    return edges


def _chain(edges: list[float], profile: Callable[[float], tuple[Interval, ...]]) -> Chain:
    """Sample a profile in the middle of each stretch between edges; equal neighbours become one."""
    places: list[float] = []
    for edge in sorted(edges):
        if not places or edge - places[-1] > _SAME_MM:
            places.append(edge)
    middles = [places[0] - 1e3, *((a + b) / 2 for a, b in itertools.pairwise(places)), places[-1] + 1e3]
    shapes = [profile(y) for y in middles]
    kept = [0, *(i for i in range(1, len(shapes)) if shapes[i] != shapes[i - 1])]
    if len(kept) == 1:
        return Chain((Section(shapes[0]), Section(shapes[0])))
    starts = [places[i - 1] for i in kept[1:]]
    inner = [Section(shapes[i], b - a) for i, a, b in zip(kept[1:], starts, starts[1:], strict=False)]
    return Chain((Section(shapes[0]), *inner, Section(shapes[kept[-1]])), starts[0])


def sound_chain(joint: Joint) -> Chain:
    """The joint without a flaw."""
    ramp_half = joint.ramp_mm / 2
    return _chain(_even(-ramp_half, ramp_half, STAIRS), lambda y: ((0.0, _top(y, joint)),))


def deepest_slot_mm(joint: Joint, width_mm: float, side: Side) -> float:
    """Depth at which a slot leaves no ligament; 0 to this is a slot, anything more goes through."""
    if side is Side.TOP:
        return joint.mean_mm
    edges = sorted(_edges_around(joint, width_mm))
    middles = [(a + b) / 2 for a, b in itertools.pairwise(edges) if b - a > _SAME_MM]
    within = [y for y in middles if abs(y) < width_mm / 2]
    beside = [y for y in (*middles, -1e3, 1e3) if abs(y) > width_mm / 2]
    nearest = [max(y for y in beside if y < 0), min(y for y in beside if y > 0)]
    return min(_top(y, joint) for y in (*within, *nearest))


def slot_chain(joint: Joint, depth_mm: float, width_mm: float, side: Side) -> Chain:
    """A slot from one face, centred on the joint; depth counts from the face at mid-ramp.

    Raises
    ------
    SeamtellError
        No ligament is left.
    """
    deepest = deepest_slot_mm(joint, width_mm, side)
    if side is Side.THROUGH or not 0 <= depth_mm < deepest:
        raise SeamtellError(
            f"slot {depth_mm} mm deep ({side.value}) in a joint of {joint.mean_mm} mm at mid-ramp: expected "
            f"0 to less than {deepest:.3f} mm, so that a ligament is left",
            do="treat it as a slot through the sheet",
        )

    def profile(y: float) -> tuple[Interval, ...]:
        top = _top(y, joint)
        if abs(y) > width_mm / 2:
            return ((0.0, top),)
        if side is Side.TOP:
            return ((0.0, min(top, joint.mean_mm - depth_mm)),)
        return ((depth_mm, top),)

    return _chain(_edges_around(joint, width_mm), profile)


def embedded_chain(joint: Joint, low_mm: float, high_mm: float, width_mm: float) -> Chain:
    """A slot inside the joint, between two heights above the bottom face; a ligament on either side."""

    def profile(y: float) -> tuple[Interval, ...]:
        top = _top(y, joint)
        return ((0.0, top),) if abs(y) > width_mm / 2 else ((0.0, low_mm), (high_mm, top))

    return _chain(_edges_around(joint, width_mm), profile)


def offset_chain(joint: Joint, shift_mm: float) -> Chain:
    """Sheet B lowered by `shift_mm` (raised if negative): both surfaces step by the joint's ramp.

    The two ramps stand apart, to either side of the seam, so that only the height that
    both sheets share carries on between them; for small offsets they close up again.

    Raises
    ------
    SeamtellError
        The sheets have no height in common.
    """
    lowest, highest = -joint.sheet_a_mm, joint.sheet_b_mm
    if not lowest < shift_mm < highest:
        raise SeamtellError(
            f"sheet B offset by {shift_mm} mm, expected between {lowest} and {highest} mm, "
            "so that the sheets touch"
        )
    apart = joint.ramp_mm / 2 * min(abs(shift_mm) / FULL_RAMP_SHIFT_MM, 1.0)
    top_at, bottom_at = (-apart, apart) if shift_mm >= 0 else (apart, -apart)
    rise = joint.sheet_b_mm - shift_mm - joint.sheet_a_mm

    def profile(y: float) -> tuple[Interval, ...]:
        bottom = -shift_mm * _ramp(y - bottom_at, joint)
        return ((bottom, joint.sheet_a_mm + rise * _ramp(y - top_at, joint)),)

    ramp_half = joint.ramp_mm / 2
    edges = [e + at for at in (top_at, bottom_at) for e in _even(-ramp_half, ramp_half, OFFSET_STAIRS)]
    return _chain(_apart(edges, joint.ramp_mm / 100), profile)


def _apart(edges: list[float], least_mm: float) -> list[float]:
    """Drop edges of one surface that nearly meet one of the other: slivers add nothing but work."""
    kept: list[float] = []
    for edge in sorted(edges):
        if not kept or edge - kept[-1] >= least_mm:
            kept.append(edge)
    return kept


def bead_chain(joint: Joint, height_mm: float, width_mm: float) -> Chain:
    """The joint with a bead `height_mm` over the top face (a groove if negative), centred on the seam.

    Raises
    ------
    SeamtellError
        The groove leaves no ligament.
    """
    if not height_mm > -deepest_slot_mm(joint, width_mm, Side.BOTTOM):
        raise SeamtellError(
            f"bead of {height_mm} mm on a joint of {joint.mean_mm} mm, expected a ligament above zero"
        )

    def profile(y: float) -> tuple[Interval, ...]:
        return ((0.0, _top(y, joint) + (height_mm if abs(y) < width_mm / 2 else 0.0)),)

    return _chain(_edges_around(joint, width_mm), profile)
