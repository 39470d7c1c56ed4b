from __future__ import annotations

from dataclasses import replace
from math import asin, sin

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm

from seamtell.data_synth.beam_spread import beam_sd_mm
from seamtell.data_synth.flaw_limits import ligament_mm
from seamtell.data_synth.flaws import FlawGeometry, Hole, Mismatch, RoughJoint, Slot
from seamtell.data_synth.head import Head, Joint
from seamtell.data_synth.line_scan import line_scan
from seamtell.data_synth.material import Material
from seamtell.data_synth.scattering.beam import beam
from seamtell.data_synth.validity import (
    RangeNote,
    Verdict,
    check_flaw,
    check_head,
    check_joint,
    describe_head,
    describe_range,
)
from seamtell.features.contracts import Channel, Side
from seamtell.features.errors import SeamtellError

JOINT = Joint(1.5, 1.3)


def value_of(notes: tuple[RangeNote, ...], beginning: str) -> float:
    return next(note.value for note in notes if note.quantity.startswith(beginning))


def test_the_usual_head_and_joints_are_inside_everywhere():
    for joint in (JOINT, Joint(1.8, 1.5), Joint(1.2, 1.0)):
        notes = describe_range(joint, Head())
        assert {note.verdict for note in notes} == {Verdict.INSIDE}


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"frequency_mhz": 0.0}, "frequency_mhz is 0 MHz, allowed is above 0"),
        ({"frequency_mhz": float("nan")}, "frequency_mhz is nan"),
        ({"aperture_sd_mm": -5.0}, "aperture_sd_mm is -5 mm"),
        ({"scatter_tilt_sin": 0.0}, "scatter_tilt_sin is 0"),
        ({"scatter_tilt_sin": 1.2}, "scatter_tilt_sin is 1.2, .*the sine of an angle"),
        ({"gate_us": (2.0, -2.0)}, "length of gate_us is -4 us"),
        ({"aperture_sd_mm": 2.0}, "aperture over wavelength is 0.3715, allowed is at least 0.5"),
        ({"stand_off_mm": 4.0}, "stand-off over wavelength is 0.743, allowed is at least 1"),
        ({"stand_off_mm": 60.0}, "beam on the seam, standard deviation is .* at most 8 mm"),
        ({"aperture_sd_mm": 9.0}, "beam on the seam, standard deviation"),
        ({"scatter_tilt_sin": 0.2}, "share of the sound seam's echo that leaks into scatter"),
        ({"scatter_tilt_sin": 0.55}, "share of the scatter beam beyond the critical angle"),
        ({"scatter_tilt_sin": 0.7}, "SH0 meets S0, which then runs along the seam"),
    ],
)
def test_a_head_outside_the_range_is_refused_with_the_limit_that_it_breaks(change, message):
    with pytest.raises(SeamtellError, match=message):
        check_head(replace(Head(), **change))


def test_the_critical_angle_is_that_of_snell():
    # Snell: the wavenumber along the seam is kept, sin(s0) / c_plate = sin(sh) / c_shear, and sin(s0) is 1.
    critical = asin(3.23 / Head().material.c_plate_mm_per_us)
    at = replace(Head(), scatter_tilt_sin=sin(critical))
    assert value_of(describe_head(at), "share of the scatter beam") == pytest.approx(0.5)


def test_the_share_beyond_the_critical_angle_is_the_tail_of_the_two_way_spectrum():
    # The two-way spectrum exp(-a² (q - k sin)²) is a normal density of deviation 1 / (a sqrt 2): scipy.
    head = Head()
    tail = norm.sf(
        head.plate_wavenumber_per_mm(),
        loc=head.wavenumber_per_mm() * 0.4,
        scale=1 / (head.aperture_sd_mm * np.sqrt(2)),
    )
    assert value_of(describe_head(head), "share of the scatter beam") == pytest.approx(tail)


def test_the_leak_into_scatter_is_the_overlap_of_what_is_sent_and_what_is_received():
    # A flat seam turns the wavenumber's sign along it; overlap integrals by scipy.integrate.
    head, q = Head(), Head().wavenumber_per_mm() * 0.4

    def overlap(tilt: float) -> float:
        a = head.aperture_sd_mm
        return quad(
            lambda x: np.exp(-((a * (x - tilt)) ** 2) / 2 - (a * (-x - tilt)) ** 2 / 2), -2, 2, points=[0.0]
        )[0]

    leak = value_of(describe_head(head), "share of the sound seam")
    assert leak == pytest.approx(overlap(q) / overlap(0.0), rel=1e-6)


@pytest.mark.parametrize("channel", list(Channel))
@pytest.mark.parametrize(("aperture", "stand_off"), [(5.047, 15.05), (4.0, 20.0), (6.0, 12.0)])
def test_the_spread_of_the_beam_is_that_of_the_exact_spectrum(channel, aperture, stand_off):
    # Deviation of the table's one-way intensity by its second moment: |amplitude|² narrows by sqrt 2;
    # the rest is what the parabola that a Gaussian beam has for its phase leaves out.
    head = replace(Head(), aperture_sd_mm=aperture, stand_off_mm=stand_off)
    xi = np.arange(-35.0, 35.0, 0.05) + head.axis_offset_mm(channel)
    intensity = np.abs(beam(head, channel).scalar(xi)) ** 2
    centre = np.sum(xi * intensity) / np.sum(intensity)
    sd = np.sqrt(2 * np.sum((xi - centre) ** 2 * intensity) / np.sum(intensity))
    assert beam_sd_mm(head, channel) == pytest.approx(sd, rel=0.09)


@pytest.mark.parametrize(
    ("joint", "head", "message"),
    [
        (Joint(2.8, 2.5), Head(), "frequency times thickness of sheet A is 1.68 mm MHz, .* at most 1.615"),
        (Joint(1.0, 2.0), replace(Head(), frequency_mhz=0.85), "frequency times thickness of sheet B is 1.7"),
        (Joint(2.2, 1.0), Head(), "thicker over thinner sheet is 2.2, allowed is at most 2"),
        (Joint(1.5, 1.3, ramp_mm=3.0), Head(), "ramp_mm is 3 mm, allowed is above 0 to 2.692 mm"),
    ],
)
def test_a_joint_outside_the_range_is_refused_with_the_limit_that_it_breaks(joint, head, message):
    with pytest.raises(SeamtellError, match=message):
        check_joint(joint, head)


def test_the_cut_off_of_sh1_is_half_the_shear_speed_over_the_thickness():
    # n c_T / 2h for SH modes of a plate: J. L. Rose, *Ultrasonic Waves in Solid Media*, 1999 (from memory).
    material = Material(5.9, 3.0)
    head = replace(Head(), material=material, frequency_mhz=0.749)
    check_joint(Joint(2.0, 1.5), head)
    with pytest.raises(SeamtellError, match="SH1 travels in the sheet"):
        check_joint(Joint(2.0, 1.5), replace(head, frequency_mhz=0.751))


def test_a_burst_whose_upper_part_is_above_the_cut_off_is_strained():
    notes = describe_range(Joint(2.4, 2.0), Head())
    assert [n.verdict for n in notes if n.quantity.endswith("of sheet A")] == [Verdict.STRAINED]


@pytest.mark.parametrize(
    ("flaw", "message"),
    [
        (Hole(0.0, 3.2), "diameter of a hole is 3.2 mm, allowed is above 0 to 2.999 mm"),
        (Hole(0.0, 1.0, Side.TOP, 1.5), "depth of a blind pore is 1.5 mm, .*so no ligament is left"),
        (Slot.even(0, 5, 1.45, 0.3, Side.TOP), "greatest depth of a slot is 1.45 mm, .* to 1.4 mm"),
        (Slot(0, ((-3, -0.1), (3, 0.5)), 0.3), "least depth of a slot is -0.1 mm"),
        (Slot.even(0, 5, 0.5, 2.8, Side.TOP), "width of a slot is 2.8 mm"),
        (Slot.even(0, 0.3, 0.5, 0.1, Side.TOP), "length of a slot is 0.3 mm, allowed is 0.4 to 82 mm"),
        (Slot.even(0, 90, 0.5, 0.1, Side.TOP), "length of a slot is 90 mm"),
        (Mismatch(0, 1.3, 30), "height that the shifted sheets share .* is 0 mm"),
        (Mismatch(0, -1.5, 30), "height that the shifted sheets share .* is 0 mm"),
        (Mismatch(0, 2.0, 30), "height that the shifted sheets share .* is -0.7 mm"),
        (Mismatch(0, 0.3, 30, end_ramp_mm=0.2), "end ramp of a mismatch is 0.2 mm"),
        (RoughJoint(0.0, 2.0, (0.0, 0.1)), "spacing of bead heights is 2 mm"),
        (RoughJoint(0.0, 0.5, (0.0, 1.5, 0.0)), "height of a bead over the joint's thickness is 1.071"),
        (RoughJoint(0.0, 0.5, (0.0, 0.1), across_mm=3.0), "width of a bead across the seam is 3 mm"),
        (RoughJoint(0.0, 0.5, (0.0, float("nan"))), "height of a bead over the joint's thickness is nan"),
    ],
)
def test_a_flaw_outside_the_range_is_refused_with_the_limit_that_it_breaks(
    flaw: FlawGeometry, message: str
) -> None:
    with pytest.raises(SeamtellError, match=message):
        check_flaw(flaw, JOINT, Head())


@pytest.mark.parametrize(
    "flaw",
    [
        Hole(0.0, 0.2),
        Hole(0.0, 2.9),
        Hole(0.0, 1.0, Side.BOTTOM, 1.3),
        Slot.even(0, 80, 1.4, 0.1, Side.BOTTOM),
        Slot.even(0, 0.5, 0.05, 0.05, Side.TOP),
        Mismatch(0, 0.45, 100, end_ramp_mm=10),
        Mismatch(0, -0.45, 10, end_ramp_mm=1),
        RoughJoint(0.0, 0.5, (0.0, 0.8, 0.0), across_mm=2.0),
    ],
)
def test_what_is_allowed_gets_a_finite_echo(flaw: FlawGeometry) -> None:
    check_flaw(flaw, JOINT, Head())
    scan = line_scan([flaw], JOINT, Head(), np.arange(-20.0, 20.0, 2.0))
    for channel in Channel:
        assert np.isfinite(scan.amplitude_pct(channel)).all()


@pytest.mark.parametrize(
    ("shift", "height"), [(0.0, 1.3), (0.3, 1.0), (1.3, 0.0), (-0.2, 1.3), (-0.5, 1.0), (-1.5, 0.0)]
)
def test_the_ligament_is_the_overlap_of_the_two_sheets(shift, height):
    # Sheet A fills 0 to 1.5, sheet B -shift to 1.3 - shift: overlap counted on a fine grid.
    y = np.linspace(-3, 3, 600_001)
    both = (y > 0) & (y < 1.5) & (y > -shift) & (y < 1.3 - shift)
    assert np.count_nonzero(both) * 1e-5 == pytest.approx(height, abs=3e-5)
    assert ligament_mm(JOINT, shift) == pytest.approx(height)


def test_a_head_that_is_none_ends_the_list_and_raises_nothing():
    notes = describe_range(JOINT, replace(Head(), scatter_tilt_sin=2.0))
    assert [note.quantity for note in notes if note.verdict is Verdict.OUTSIDE] == ["scatter_tilt_sin"]
