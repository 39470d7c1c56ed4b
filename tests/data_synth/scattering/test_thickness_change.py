import numpy as np
import pytest

from seamtell.data_synth.flaws import Mismatch, RoughJoint
from seamtell.data_synth.head import Head, Joint
from seamtell.data_synth.line_scan import flaw_echo_pct
from seamtell.data_synth.scattering.change_tables import bead_table, shift_table
from seamtell.data_synth.scattering.thickness_change import line_integral
from seamtell.features.contracts import Channel

from .first_order import bead_reflection, mismatch_reflection

HEAD, JOINT = Head(), Joint(1.5, 1.3)
K = HEAD.wavenumber_per_mm()


def test_endless_mirror_returns_the_whole_beam_straight_and_nothing_oblique() -> None:
    at = np.arange(-45.0, 45.0, 0.25)
    mirror = np.ones(len(at), dtype=complex)
    straight = line_integral(mirror, at, HEAD, Channel.SPECULAR, np.array([0.0]), 1)[0]
    oblique = line_integral(mirror, at, HEAD, Channel.SCATTER, np.array([0.0]), 1)[0]
    # A mirror that turns every plane wave of the beam around, summed without the line integral.
    angle = np.linspace(-np.pi / 2, np.pi / 2, 4001)
    sent = HEAD.aperture_sd_mm**2 * 2 * np.pi * np.exp(-((HEAD.aperture_sd_mm * K * np.sin(angle)) ** 2))
    exact = K / np.pi * np.trapezoid(sent * np.exp(2j * K * np.cos(angle) * HEAD.stand_off_mm), angle)
    assert abs(straight) == pytest.approx(abs(exact), rel=0.03)
    assert abs(oblique) < 0.005 * abs(straight)


@pytest.mark.parametrize("shift_mm", [0.15, 0.3, -0.3])
def test_first_order_twin_of_a_mismatch_reads_low_by_the_shear_of_the_ligament(shift_mm: float) -> None:
    numerical = shift_table(JOINT, K).added(np.array([shift_mm]))[0]
    assert 0.7 < abs(mismatch_reflection(JOINT, np.array([shift_mm]), K)[0]) / abs(numerical) < 1.0


@pytest.mark.parametrize(
    ("channel", "expected"),
    [
        (Channel.SPECULAR, [3.446 - 11.252j, 7.649 - 25.241j, 3.446 - 11.252j]),
        (Channel.SCATTER, [-2.052 - 0.648j, 0.035 - 0.047j, 2.530 - 1.393j]),
    ],
)
def test_mismatch_meets_the_independent_prototype(channel: Channel, expected: list[complex]) -> None:
    got = flaw_echo_pct(Mismatch(0.0, 0.3, 25.0, 4.0), JOINT, HEAD, channel, np.array([-13.0, 0.0, 13.0]))
    assert np.abs(got - expected).max() < 0.03 * np.abs(expected).max()


def test_numerical_bead_meets_its_born_twin_when_low() -> None:
    numerical = bead_table(JOINT, 1.0, K).added(np.array([0.005]))
    assert numerical[0] == pytest.approx(bead_reflection(np.array([0.005]), 1.0, JOINT, K)[0], rel=0.05)


def test_no_shift_is_no_flaw() -> None:
    assert abs(mismatch_reflection(JOINT, np.array([0.0]), K)[0]) < 1e-12


def test_mismatch_shows_a_plateau_straight_and_its_two_ends_obliquely() -> None:
    at = np.arange(-60.0, 60.0, 0.5)
    flaw = Mismatch(0.0, 0.3, 60.0, 4.0)
    straight = np.abs(flaw_echo_pct(flaw, JOINT, HEAD, Channel.SPECULAR, at))
    oblique = np.abs(flaw_echo_pct(flaw, JOINT, HEAD, Channel.SCATTER, at))
    inner = np.abs(at) < 15
    assert np.ptp(straight[inner]) < 0.05 * straight.max()
    assert oblique[inner].max() < 0.2 * oblique.max()


def test_low_bead_reflects_as_half_the_local_thickening_moved_across_it() -> None:
    # Born approximation for a strip thickened by d over width b: R = i k b d / h for k b << 1.
    got = bead_reflection(np.array([0.01]), 1e-3, JOINT, K)[0]
    assert got == pytest.approx(1j * K * 1e-3 * 0.01 / 1.4, rel=1e-5)


@pytest.mark.parametrize("channel", list(Channel))
def test_convolution_of_a_whole_bead_meets_the_plain_sum(channel: Channel) -> None:
    rng = np.random.default_rng(3)
    at = 0.5 * np.arange(400)
    bead = RoughJoint(0.0, 0.5, tuple(0.02 * rng.standard_normal(400)))
    fast = flaw_echo_pct(bead, JOINT, HEAD, channel, at)
    plain = flaw_echo_pct(bead, JOINT, HEAD, channel, at + 1e-9)  # off the grid: no convolution
    assert np.abs(fast - plain).max() < 1e-4 * np.abs(plain).max()
