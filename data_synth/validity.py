"""What the guided-wave theory can answer, and a refusal that names the limit for what it cannot.

Every limit has a reason beside it. ``inside``: compared with independent results, or what
is neglected stays small. ``strained``: answered, and less certain. ``outside``: refused.
What no number here guards: coupling to A0, which propagates at every frequency and is
left out throughout; closed or oxide-filled cracks; the cylinder that a rolled sheet is.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache
from math import erfc, exp, inf

from seamtell.data_synth.beam_spread import beam_sd_mm, wavelength_mm
from seamtell.data_synth.flaw_limits import flaw_limits
from seamtell.data_synth.flaws import FlawGeometry
from seamtell.data_synth.head import Head, Joint
from seamtell.data_synth.range_note import JUST_ABOVE_ZERO, Limit, RangeNote, Verdict, refuse_outside
from seamtell.features.contracts import Channel

__all__ = [
    "RangeNote",
    "Verdict",
    "check_flaw",
    "check_head",
    "check_joint",
    "describe_head",
    "describe_range",
]


def check_head(head: Head) -> None:
    """Refuse a head that the theory cannot represent.

    Raises
    ------
    SeamtellError
        Names the quantity, its value, what is allowed and why.

    Examples
    --------
    >>> check_head(Head())
    """
    refuse_outside(_head_notes(head))


def check_joint(joint: Joint, head: Head) -> None:
    """Refuse a joint on which this head's waves are not those of the theory; the head is taken to be checked.

    Raises
    ------
    SeamtellError
        Names the quantity, its value, what is allowed and why.

    Examples
    --------
    >>> check_joint(Joint(1.5, 1.3), Head())
    """
    refuse_outside(_joint_notes(joint, head))


def check_flaw(flaw: FlawGeometry, joint: Joint, head: Head) -> None:
    """Refuse a flaw that the theory has no answer for; joint and head are taken to be checked.

    Raises
    ------
    SeamtellError
        Names the quantity, its value, what is allowed and why.

    Examples
    --------
    >>> from seamtell.data_synth.flaws import Hole
    >>> check_flaw(Hole(0.0, 1.2), Joint(1.5, 1.3), Head())
    """
    limits, values = flaw_limits(flaw, joint, head)
    refuse_outside(limit.note(value) for limit, value in zip(limits, values, strict=False))


def describe_head(head: Head) -> tuple[RangeNote, ...]:
    """List every limit of a head, met or not; numbers that are none of a head's end the list."""
    return _head_notes(head)


def describe_range(joint: Joint, head: Head) -> tuple[RangeNote, ...]:
    """List every limit of a head on a joint, met or not.

    Where the head is outside, the list ends with the head.
    """
    notes = _head_notes(head)
    if any(note.verdict is Verdict.OUTSIDE for note in notes):
        return notes
    return (*notes, *_joint_notes(joint, head))


@lru_cache(maxsize=256)
def _head_notes(head: Head) -> tuple[RangeNote, ...]:
    plain = tuple(_plain_head_notes(head))
    if any(note.verdict is Verdict.OUTSIDE for note in plain):
        return plain
    return (*_aperture_notes(head), *_tilt_notes(head), _width_note(head))


def _plain_head_notes(head: Head) -> Iterator[RangeNote]:
    """Numbers that are none of a head's, before anything is worked out from them."""
    for quantity, unit, value, most in (
        ("frequency_mhz", "MHz", head.frequency_mhz, inf),
        ("aperture_sd_mm", "mm", head.aperture_sd_mm, inf),
        ("stand_off_mm", "mm", head.stand_off_mm, inf),
        ("burst_cycles", "", head.burst_cycles, inf),
        ("scatter_tilt_sin", "", head.scatter_tilt_sin, 1 - JUST_ABOVE_ZERO),
    ):
        reason = "it must be above zero" + ("" if most == inf else " and below one, the sine of an angle")
        yield Limit(quantity, unit, reason, f"mend {quantity}", least=JUST_ABOVE_ZERO, most=most).note(value)
    reason = "its end must come after its start"
    length = head.gate_us[1] - head.gate_us[0]
    yield Limit("length of gate_us", "us", reason, "mend gate_us", least=JUST_ABOVE_ZERO).note(length)


def _aperture_notes(head: Head) -> Iterator[RangeNote]:
    wave = wavelength_mm(head)
    yield Limit(
        "aperture over wavelength",
        "",
        "a shorter one sends a fan, and flaws are answered as if struck at one angle "
        "(at 0.75 the beam opens by 12 degrees to either side)",
        f"widen aperture_sd_mm to at least {0.5 * wave:.3g} mm",
        least=0.5,
        calm_from=0.75,
    ).note(head.aperture_sd_mm / wave)
    yield Limit(
        "stand-off over wavelength",
        "",
        "only waves that travel are summed; nearer, those that die away still reach the seam "
        "(and below half the burst's cycles the head still sends while the echo comes back)",
        f"use a stand_off_mm of at least {wave:.3g} mm",
        least=1.0,
        calm_from=head.burst_cycles / 2,
    ).note(head.stand_off_mm / wave)


def _tilt_notes(head: Head) -> Iterator[RangeNote]:
    """Two ends of the tilt: the seam itself seen in the scatter channel, and S0 along the seam.

    An SH0 wave at an angle sends S0 waves off a flaw, and off the seam, with the same
    wavenumber along it. Up to sin = c_shear / c_plate they leave; beyond, S0 is tied to the
    seam and creeps along it. Between lies the critical angle, where SH0 meets S0 at its
    grazing start. A beam has a spread, so a share of it is always beyond.
    """
    across = head.wavenumber_per_mm() * head.aperture_sd_mm
    yield Limit(
        "share of the sound seam's echo that leaks into scatter",
        "",
        "too little tilt for this aperture: the beam's edges strike the seam squarely, "
        "and scatter of a sound seam is taken as nothing",
        "raise scatter_tilt_sin, or widen aperture_sd_mm",
        most=0.2,
        calm_to=0.03,
    ).note(exp(-((across * head.scatter_tilt_sin) ** 2)))
    critical = head.plate_wavenumber_per_mm() / head.wavenumber_per_mm()
    yield Limit(
        "share of the scatter beam beyond the critical angle",
        "",
        f"from sin = c_shear / c_plate = {critical:.3f} on, SH0 meets S0, which then runs along the seam "
        "instead of leaving it",
        "lower scatter_tilt_sin, or widen aperture_sd_mm",
        most=0.2,
        calm_to=0.1,
    ).note(erfc(across * (critical - head.scatter_tilt_sin)) / 2)


def _width_note(head: Head) -> RangeNote:
    widest = max(beam_sd_mm(head, channel) for channel in Channel)
    return Limit(
        "beam on the seam, standard deviation",
        "mm",
        "echoes are worked out to 25 mm from a flaw; a wider beam still sees it there",
        "shorten aperture_sd_mm or stand_off_mm (a small aperture spreads, too)",
        most=8.0,
    ).note(widest)


@lru_cache(maxsize=256)
def _joint_notes(joint: Joint, head: Head) -> tuple[RangeNote, ...]:
    sheets = (("sheet A", joint.sheet_a_mm), ("sheet B", joint.sheet_b_mm), ("the joint", joint.mean_mm))
    cut_offs = (_cut_off(name, head).note(head.frequency_mhz * thick) for name, thick in sheets)
    thick, thin = max(joint.sheet_a_mm, joint.sheet_b_mm), min(joint.sheet_a_mm, joint.sheet_b_mm)
    ratio = Limit(
        "thicker over thinner sheet",
        "",
        "flaws are worked out in a sheet of the mean thickness and scaled by the step",
        "no setting helps: this pair needs another theory",
        most=2.0,
        calm_to=1.5,
    )
    ramp = Limit(
        "ramp_mm",
        "mm",
        "a ramp longer than half a wavelength is a taper, not a joint",
        "mend ramp_mm; a laser seam's is near half the sheet",
        least=JUST_ABOVE_ZERO,
        most=wavelength_mm(head) / 2,
        calm_to=wavelength_mm(head) / 4,
    )
    return (*cut_offs, ratio.note(thick / thin), ramp.note(joint.ramp_mm))


def _cut_off(name: str, head: Head) -> Limit:
    """Limit of SH1, cut-off n c_shear / 2h; strained where the upper part of the burst is above it."""
    cut_off = head.material.c_shear_mm_per_us / 2
    return Limit(
        f"frequency times thickness of {name}",
        "mm MHz",
        "from half the shear speed on, SH1 travels in the sheet beside SH0 (its cut-off)",
        "lower frequency_mhz; thicker sheets need a lower one",
        most=cut_off * (1 - JUST_ABOVE_ZERO),
        calm_to=cut_off / (1 + 1 / head.burst_cycles),
    )
