import numpy as np
import pytest

from seamtell.data_synth.flaws import Mismatch, RoughJoint
from seamtell.data_synth.head import Head, Joint
from seamtell.data_synth.line_scan import flaw_echo_pct
from seamtell.data_synth.scattering.thickness_change import (
    bead_reflection,
    line_integral,
    mismatch_reflection,
)
from seamtell.features.contracts import Channel

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


@pytest.mark.parametrize(
    ("shift_mm", "total"),
    [(0.15, 0.04348 - 0.14446j), (0.30, 0.05692 - 0.25896j), (-0.30, 0.04300 - 0.11049j)],
)
def test_mismatch_strength_is_near_mode_matching(shift_mm: float, total: complex) -> None:
    # Mode matching (independent prototype), sound seam taken off. First order in thickness reads low.
    flaw = total - (0.06767 - 0.00867j)
    got = mismatch_reflection(JOINT, np.array([shift_mm]), K)[0]
    assert 0.75 < abs(got) / abs(flaw) < 1.0


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
