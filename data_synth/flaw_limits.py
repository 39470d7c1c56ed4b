"""Limits of each kind of flaw in a joint under a head, with the values of one flaw beside them."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from seamtell.data_synth.beam_spread import beam_sd_mm, wavelength_mm
from seamtell.data_synth.flaws import FlawGeometry, Hole, Mismatch, Slot
from seamtell.data_synth.head import Head, Joint
from seamtell.data_synth.range_note import JUST_ABOVE_ZERO, Limit
from seamtell.features.contracts import Channel, Side

__all__ = ["flaw_limits", "ligament_mm"]


def ligament_mm(joint: Joint, shift_mm: float) -> float:
    """Height that the two sheets share when sheet B is lowered by `shift_mm`, raised when negative.

    Examples
    --------
    >>> [round(ligament_mm(Joint(1.5, 1.3), shift), 2) for shift in (0.0, 0.3, -0.1, -0.3)]
    [1.3, 1.0, 1.3, 1.2]
    """
    top = min(joint.sheet_a_mm, joint.sheet_b_mm - shift_mm)
    return top - max(0.0, -shift_mm)


@lru_cache(maxsize=256)
def _hole_limits(joint: Joint, head: Head) -> tuple[Limit, ...]:
    diameter = Limit(
        "diameter of a hole",
        "mm",
        "a larger one needs more angular orders than the eight worked out, or is wider than the beam",
        "make it a smaller hole, or a slot through the sheet",
        least=JUST_ABOVE_ZERO,
        most=min(3.5 / head.wavenumber_per_mm(), 2 * beam_sd_mm(head, Channel.SPECULAR)),
    )
    return diameter, _depth_limit("depth of a blind pore", joint)


def _depth_limit(quantity: str, joint: Joint) -> Limit:
    return Limit(
        quantity,
        "mm",
        f"the joint is {joint.mean_mm:.4g} mm thick, so no ligament is left",
        "state at most the joint's thickness, which means through",
        least=JUST_ABOVE_ZERO,
        most=joint.mean_mm,
    )


@lru_cache(maxsize=256)
def _slot_limits(joint: Joint, head: Head) -> tuple[Limit, ...]:
    return (
        _depth_limit("greatest depth of a slot", joint),
        Limit("least depth of a slot", "mm", "a depth below zero is none", "mend it", least=0.0),
        Limit(
            "width of a slot",
            "mm",
            "wider than half a wavelength it is a groove with two walls that echo apart",
            "make it narrower",
            least=JUST_ABOVE_ZERO,
            most=wavelength_mm(head) / 2,
        ),
        Limit(
            "length of a slot",
            "mm",
            "it acts 0.2 mm beyond each end, a fitted length that must not outweigh it; "
            "the table of jumps ends near 80 mm",
            "make it a hole when shorter, two slots end to end when longer",
            least=0.4,
            most=82.0,
            calm_from=1.0,
        ),
    )


@lru_cache(maxsize=256)
def _mismatch_limits(joint: Joint, head: Head) -> tuple[Limit, ...]:
    return (
        Limit(
            "height that the shifted sheets share (ligament)",
            "mm",
            "the shift is as great as the thinner sheet or nearly so, and the sheets hardly touch",
            "make the shift smaller",
            least=0.05 * min(joint.sheet_a_mm, joint.sheet_b_mm),
        ),
        Limit(
            "end ramp of a mismatch",
            "mm",
            "each slice of the seam answers as if its neighbours were alike; "
            "a step within a tenth of a wavelength is a corner",
            "make end_ramp_mm longer",
            least=0.1 * wavelength_mm(head),
        ),
    )


@lru_cache(maxsize=256)
def _bead_limits(head: Head) -> tuple[Limit, ...]:
    return (
        Limit(
            "spacing of bead heights",
            "mm",
            "more than a quarter of a wavelength leaves gaps that echo by themselves",
            "state the heights more densely",
            least=JUST_ABOVE_ZERO,
            most=wavelength_mm(head) / 4,
        ),
        Limit(
            "height of a bead over the joint's thickness",
            "",
            "a bead counts as small against the sheet (single scattering)",
            "make it lower",
            most=1.0,
            calm_to=0.3,
        ),
        Limit(
            "width of a bead across the seam",
            "mm",
            "wider than half a wavelength its two flanks echo apart",
            "make it narrower",
            least=JUST_ABOVE_ZERO,
            most=wavelength_mm(head) / 2,
        ),
    )


def flaw_limits(flaw: FlawGeometry, joint: Joint, head: Head) -> tuple[tuple[Limit, ...], tuple[float, ...]]:
    """Limits of a kind of flaw, and the values of this one; a through hole has no depth to judge."""
    if isinstance(flaw, Hole):
        limits = _hole_limits(joint, head)
        return limits, (flaw.diameter_mm,) if flaw.side is Side.THROUGH else (flaw.diameter_mm, flaw.depth_mm)
    if isinstance(flaw, Slot):
        depths = np.array([depth for _, depth in flaw.depth_points_mm])
        deepest, least = float(depths.max()), float(depths.min())
        return _slot_limits(joint, head), (deepest, least, flaw.width_mm, flaw.length_mm)
    if isinstance(flaw, Mismatch):
        return _mismatch_limits(joint, head), (ligament_mm(joint, flaw.shift_mm), flaw.end_ramp_mm)
    # numpy, unlike max(), lets no NaN pass unseen
    highest = float(np.abs(flaw.added_mm).max())
    return _bead_limits(head), (flaw.spacing_mm, highest / joint.mean_mm, flaw.across_mm)
