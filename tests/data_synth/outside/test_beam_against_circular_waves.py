"""The beam, the free edge and the echo of holes against sums of circular waves (`hankel_beam`)."""

from __future__ import annotations

import numpy as np
import pytest

from seamtell.data_synth.flaws import Hole
from seamtell.data_synth.head import Head, Joint
from seamtell.data_synth.scattering.beam import beam, free_edge_echo
from seamtell.data_synth.scattering.coupling import coupled_echoes
from seamtell.data_synth.scattering.hole import hole_echo
from seamtell.data_synth.scattering.inclusion import inclusion_transition
from seamtell.features.contracts import Channel

from .free_edge_by_conditions import free_edge_by_conditions
from .hankel_beam import HankelBeam
from .hole_collocation import collocated_echo

HEADS = [Head(), Head(frequency_mhz=0.8, aperture_sd_mm=3.5, stand_off_mm=20.0, scatter_tilt_sin=0.3)]
XI_MM = np.array([-9.3, -4.0, 0.0, 1.77, 6.5, 12.1])


def circular(head: Head, channel: Channel) -> HankelBeam:
    tilt = np.sin(head.tilt_rad(channel))
    return HankelBeam(head.wavenumber_per_mm(), head.aperture_sd_mm, head.stand_off_mm, float(tilt))


@pytest.mark.parametrize("head", HEADS)
@pytest.mark.parametrize("channel", list(Channel))
def test_stresses_on_the_seam_are_those_of_circular_waves(channel: Channel, head: Head) -> None:
    # Outside source: Rayleigh's integral with Hankel functions of scipy.
    lit = beam(head, channel)
    exact = circular(head, channel).stresses(XI_MM)
    for found, right in zip((lit.shear(XI_MM), lit.normal(XI_MM), lit.scalar(XI_MM)), exact, strict=True):
        assert np.abs(found - right).max() < 1e-3 * np.abs(exact[0]).max()


def test_two_way_beam_is_as_wide_as_designed() -> None:
    # Paraxial Gaussian beam, textbook: two-way intensity-like width sqrt(a^2 + (y/ka)^2) as a standard
    # deviation; the full-wave simulation of this head states a full width at half maximum of 9.4 mm.
    head = Head()
    xi = np.arange(-10, 10, 0.02)
    shape = np.abs(circular(head, Channel.SPECULAR).psi(xi, head.stand_off_mm)) ** 2
    found = np.abs(beam(head, Channel.SPECULAR).scalar(xi)) ** 2
    widths = [np.ptp(xi[profile > profile.max() / 2]) for profile in (shape, found)]
    a, k = head.aperture_sd_mm, head.wavenumber_per_mm()
    spread = np.hypot(a, head.stand_off_mm / (k * a))
    paraxial = 2 * spread * np.sqrt(np.log(2))
    assert widths[1] == pytest.approx(widths[0], rel=0.03)
    assert widths[1] == pytest.approx(paraxial, rel=0.03)
    assert widths[1] == pytest.approx(9.4, rel=0.03)


@pytest.mark.parametrize("head", HEADS)
def test_free_edge_echo_is_what_a_traction_free_edge_sends_back(head: Head) -> None:
    # Outside source: the conditions of a free edge, solved for each plane wave, and adaptive quadrature.
    assert free_edge_echo(head) == pytest.approx(free_edge_by_conditions(head, 0.0), rel=1e-4)


@pytest.mark.parametrize("head", HEADS)
@pytest.mark.parametrize("channel", list(Channel))
def test_echo_of_a_hole_is_what_the_aperture_hears_of_its_circular_waves(
    channel: Channel, head: Head
) -> None:
    # Outside source: beam expanded about the hole by a discrete Fourier transform on a circle, sent back
    # as H_n(kr) e^{i n theta} and summed over the aperture; no plane waves, no reciprocity.
    hole, positions = Hole(1.3, 1.2), np.array([-5.0, 0.0, 2.5, 8.0])
    k = head.wavenumber_per_mm()
    orders = np.arange(-8, 9)
    transition = inclusion_transition(orders, k, head.plate_wavenumber_per_mm(), 1.2, 0.0)[:, 1, 1]
    from_aperture = hole.x_mm - (positions - head.axis_offset_mm(channel))
    exact = [circular(head, channel).echo_of_hole(x, orders, transition) for x in from_aperture]
    found = hole_echo(hole, Joint(1.5, 1.5), head, channel, positions)
    assert np.abs(found - exact).max() < 1e-3 * np.abs(exact).max()


@pytest.mark.parametrize("channel", list(Channel))
@pytest.mark.parametrize("apart_mm", [2.0, 6.0])
def test_two_holes_that_hear_each_other_meet_brute_force(apart_mm: float, channel: Channel) -> None:
    # Outside source: free rims by least squares, Cartesian stress, no addition theorem (`hole_collocation`).
    head, diameter, positions = Head(), 1.2, np.array([-4.0, 0.0, 3.0])
    holes = [Hole(-apart_mm / 2, diameter), Hole(apart_mm / 2, diameter)]
    found = coupled_echoes(holes, Joint(1.5, 1.5), head, positions)[channel]
    from_aperture = [head.axis_offset_mm(channel) - p for p in positions]
    exact = np.array(
        [
            collocated_echo(
                circular(head, channel),
                head.plate_wavenumber_per_mm(),
                (start - apart_mm / 2, start + apart_mm / 2),
                diameter,
            )
            for start in from_aperture
        ]
    )
    assert np.abs(found - exact).max() < 2e-3 * np.abs(exact).max()
