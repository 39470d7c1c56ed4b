"""Which flaws the table of echoes holds: a designed grid of sizes for every cause.

Each flaw stands for its cell of the design, half way to the next size on every axis.
A fit that lists the flaws that fit well can then name the sizes that they stand for,
and never a range narrower than the design can tell.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import exp, log

import numpy as np

from seamtell.data_synth.expected_ranges import (
    EdgeNotchRange,
    FlawRanges,
    LackOfFusionRange,
    MismatchRange,
    PinholeRange,
    SoundRange,
)
from seamtell.data_synth.head import Joint
from seamtell.data_synth.simulated_flaw import EchoCause, SimulatedFlaw, Size
from seamtell.features.contracts import Side

__all__ = ["DESIGN_VERSION", "DesignedFlaw", "designed_flaws"]

DESIGN_VERSION = 1
"""Raise it when the grid below changes; tables built before are then built anew."""

_MOST_UNLIKE = 3
"""Steps of the design between two holes; beyond, the smaller one hides beside the larger."""
_Cell = tuple[float, float, float]
"""A value and the two ends of its cell."""


@dataclass(frozen=True)
class DesignedFlaw:
    """A flaw of the table and the sizes that it stands for.

    Parameters
    ----------
    flaw : SimulatedFlaw
    cells : mapping of Size to (low, high)
        Of every size that the design varies.
    """

    flaw: SimulatedFlaw
    cells: dict[Size, tuple[float, float]]


def designed_flaws(joint: Joint, ranges: FlawRanges | None = None) -> tuple[DesignedFlaw, ...]:
    """All flaws of the table for one joint, always in the same order.

    Examples
    --------
    >>> flaws = designed_flaws(Joint(1.5, 1.3))
    >>> 2000 < len(flaws) < 8000
    True
    """
    ranges = ranges or FlawRanges()
    parts: list[Iterator[DesignedFlaw]] = []
    if ranges.pinhole is not None:
        parts += [_single_holes(ranges.pinhole, joint), _pairs_of_holes(ranges.pinhole)]
    if ranges.edge_notch is not None:
        parts.append(_notches(ranges.edge_notch, joint))
    if ranges.lack_of_fusion is not None:
        parts += [_even_slots(ranges.lack_of_fusion, joint), _leaning_slots(ranges.lack_of_fusion, joint)]
    if ranges.mismatch is not None:
        parts.append(_mismatches(ranges.mismatch, joint))
    sound = ranges.sound or SoundRange()
    # Without them nothing could ever be explained by sound metal.
    parts += [_droplets(sound), _gain_changes(sound)]
    return tuple(itertools.chain.from_iterable(parts))


def _log_axis(ends: tuple[float, float], n: int) -> list[_Cell]:
    low, high = ends
    if low == high:
        return [(low, low, high)]
    return [(exp(a), exp(b), exp(c)) for a, b, c in _even_axis((log(low), log(high)), n)]


def _even_axis(ends: tuple[float, float], n: int) -> list[_Cell]:
    low, high = ends
    if low == high:
        return [(low, low, high)]
    values = np.linspace(low, high, n)
    edges = np.concatenate(([low], (values[1:] + values[:-1]) / 2, [high]))
    return [(float(v), float(a), float(b)) for v, a, b in zip(values, edges[:-1], edges[1:], strict=True)]


def _two_of(ends: tuple[float, float]) -> list[_Cell]:
    """The middle of each half of a logarithmic range."""
    low, high = log(ends[0]), log(ends[1])
    middle = (low + high) / 2
    return [(exp((a + b) / 2), exp(a), exp(b)) for a, b in ((low, middle), (middle, high))]


def _depths(ends_share: tuple[float, float], joint: Joint, n: int) -> list[_Cell]:
    h = joint.mean_mm
    part = (ends_share[0], min(ends_share[1], 0.95))
    cells = [(v * h, low * h, high * h) for v, low, high in _even_axis(part, n)]
    return [*cells, (h, 0.95 * h, h)] if ends_share[1] > 0.95 else cells


def _single_holes(expected: PinholeRange, joint: Joint) -> Iterator[DesignedFlaw]:
    h = joint.mean_mm
    depths = [(v * h, a * h, b * h) for v, a, b in _even_axis(expected.blind_depth_share, 4)]
    faces = (Side.TOP, Side.BOTTOM) if expected.blind_share else ()
    for d, low, high in _log_axis(expected.diameter_mm, 28):
        through = SimulatedFlaw(EchoCause.PINHOLE, diameter_mm=d, depth_mm=h, side=Side.THROUGH)
        yield DesignedFlaw(through, {Size.DIAMETER: (low, high), Size.DEPTH: (h, h)})
        for face, (depth, shallow, deep) in itertools.product(faces, depths):
            blind = SimulatedFlaw(EchoCause.PINHOLE, diameter_mm=d, depth_mm=depth, side=face)
            yield DesignedFlaw(blind, {Size.DIAMETER: (low, high), Size.DEPTH: (shallow, deep)})


def _pairs_of_holes(expected: PinholeRange) -> Iterator[DesignedFlaw]:
    if not expected.second_share:
        return
    # Below a third of a millimetre a second hole no longer shows beside a first.
    least = max(expected.diameter_mm[0], min(0.35, expected.diameter_mm[1]))
    diameters = _log_axis((least, expected.diameter_mm[1]), 10)
    for (i, one), (j, two) in itertools.product(enumerate(diameters), enumerate(diameters)):
        if abs(i - j) > _MOST_UNLIKE:
            continue
        apart = (one[0] + two[0]) / 2
        for gap, near, far in _log_axis(expected.second_gap_mm, 8):
            flaw = SimulatedFlaw(
                EchoCause.PINHOLE,
                diameter_mm=one[0],
                second_mm=two[0],
                gap_mm=gap + apart,
                side=Side.THROUGH,
            )
            larger = max(one, two)[1:]
            yield DesignedFlaw(flaw, {Size.DIAMETER: larger, Size.GAP: (near + apart, far + apart)})


def _notches(expected: EdgeNotchRange, joint: Joint) -> Iterator[DesignedFlaw]:
    lengths, depths = _log_axis(expected.length_mm, 18), _depths(expected.depth_share, joint, 10)
    faces = (Side.TOP, Side.BOTTOM)
    widths, full = _two_of(expected.width_mm), joint.mean_mm
    yield from _slots(EchoCause.EDGE_NOTCH, lengths, depths, widths, faces, (0.0,), full)


def _even_slots(expected: LackOfFusionRange, joint: Joint) -> Iterator[DesignedFlaw]:
    lengths, depths = _log_axis(expected.length_mm, 24), _depths(expected.depth_share, joint, 11)
    faces = (Side.BOTTOM, Side.TOP)
    widths, full = _two_of(expected.width_mm), joint.mean_mm
    yield from _slots(EchoCause.LACK_OF_FUSION, lengths, depths, widths, faces, (0.0,), full)


def _leaning_slots(expected: LackOfFusionRange, joint: Joint) -> Iterator[DesignedFlaw]:
    """Wider than the range of the expected taper: real joints close slowly."""
    lengths, depths = _log_axis(expected.length_mm, 18), _depths(expected.depth_share, joint, 8)
    widths = _log_axis(expected.width_mm, 3)[1:2] or _log_axis(expected.width_mm, 1)
    faces, leans, full = (Side.BOTTOM,), (-0.4, -0.2, 0.2, 0.4), joint.mean_mm
    yield from _slots(EchoCause.LACK_OF_FUSION, lengths, depths, widths, faces, leans, full)


def _slots(
    cause: EchoCause,
    lengths: Sequence[_Cell],
    depths: Sequence[_Cell],
    widths: Sequence[_Cell],
    faces: Sequence[Side],
    leans: Sequence[float],
    full_mm: float,
) -> Iterator[DesignedFlaw]:
    for length, depth, width, face, lean in itertools.product(lengths, depths, widths, faces, leans):
        if face is Side.TOP and depth[0] >= full_mm:
            continue  # a slot through the sheet has no face
        flaw = SimulatedFlaw(
            cause, length_mm=length[0], depth_mm=depth[0], width_mm=width[0], side=face, lean=lean
        )
        # Two openings stand for the whole range: a fit cannot tell them, so it names none.
        yield DesignedFlaw(flaw, {Size.LENGTH: length[1:], Size.DEPTH: depth[1:]})


def _mismatches(expected: MismatchRange, joint: Joint) -> Iterator[DesignedFlaw]:
    thinner = min(joint.sheet_a_mm, joint.sheet_b_mm)
    lengths, ramps = _log_axis(expected.length_mm, 26), _log_axis(expected.end_ramp_mm, 6)
    for length, share, ramp, sign in itertools.product(
        lengths, _even_axis(expected.shift_share, 8), ramps, (1, -1)
    ):
        if ramp[0] > length[0]:
            continue
        value, low, high = (thinner * one for one in share)
        flaw = SimulatedFlaw(EchoCause.MISMATCH, length_mm=length[0], shift_mm=sign * value, ramp_mm=ramp[0])
        way = Size.LOWERED if sign > 0 else Size.RAISED
        yield DesignedFlaw(flaw, {Size.LENGTH: length[1:], way: (low, high)})


def _droplets(expected: SoundRange) -> Iterator[DesignedFlaw]:
    for length, height, width in itertools.product(
        _log_axis(expected.droplet_length_mm, 6),
        _log_axis(expected.droplet_height_mm, 8),
        _log_axis(expected.droplet_across_mm, 4),
    ):
        flaw = SimulatedFlaw(
            EchoCause.DROPLET, length_mm=length[0], height_mm=height[0], width_mm=width[0], side=Side.TOP
        )
        yield DesignedFlaw(flaw, {Size.LENGTH: length[1:], Size.HEIGHT: height[1:], Size.WIDTH: width[1:]})


def _gain_changes(expected: SoundRange) -> Iterator[DesignedFlaw]:
    most = expected.bounce_gain_db[1]
    for length, gain in itertools.product(
        _log_axis(expected.bounce_length_mm, 12), _even_axis((-most, most), 25)
    ):
        flaw = SimulatedFlaw(EchoCause.GAIN_CHANGE, length_mm=length[0], gain_db=gain[0])
        yield DesignedFlaw(flaw, {Size.LENGTH: length[1:], Size.GAIN: gain[1:]})
