import numpy as np
import pytest

from seamtell.data_synth.head import Head
from seamtell.data_synth.scattering.beam import beam, free_edge_echo
from seamtell.data_synth.yardstick import half_width_mm
from seamtell.features.contracts import Channel

HEAD = Head()


def test_free_edge_echo_meets_the_independent_prototype() -> None:
    # Figures of an independent prototype of the same angular spectrum.
    assert free_edge_echo(HEAD) == pytest.approx(14.9957 + 5.7248j, abs=1e-3)


def test_two_way_beam_is_as_wide_as_in_the_full_wave_simulation() -> None:
    # The simulation states a two-way full width at half maximum of 9.4 mm at the seam.
    xi = np.arange(-20, 20, 0.05)
    assert half_width_mm(xi, np.abs(beam(HEAD, Channel.SPECULAR).scalar(xi)) ** 2) == pytest.approx(
        9.4, abs=0.3
    )


def test_tilted_beam_meets_the_seam_where_its_axis_does() -> None:
    xi = np.arange(-10, 25, 0.05)
    strongest = xi[np.argmax(np.abs(beam(HEAD, Channel.SCATTER).scalar(xi)))]
    # Geometry: stand-off times the tangent of the tilt.
    assert strongest == pytest.approx(15.05 * 0.4 / np.sqrt(1 - 0.16), abs=0.6)


@pytest.mark.parametrize("channel", list(Channel))
def test_table_meets_the_direct_sum_of_plane_waves(channel: Channel) -> None:
    k, a, y0 = HEAD.wavenumber_per_mm(), HEAD.aperture_sd_mm, HEAD.stand_off_mm
    xi = np.array([-7.3, 0.0, 4.21, 11.9])
    angle = np.linspace(-np.pi / 2, np.pi / 2, 20001)
    k_x, k_y = k * np.sin(angle), k * np.cos(angle)
    tilt = k * np.sin(HEAD.tilt_rad(channel))
    weight = a * np.sqrt(2 * np.pi) / np.pi * np.exp(-((a * (k_x - tilt)) ** 2) / 2 + 1j * k_y * y0)
    direct = np.trapezoid(weight * (k_x**2 - k_y**2) * np.exp(1j * np.outer(xi, k_x)), angle, axis=1)
    assert np.abs(beam(HEAD, channel).shear(xi) - direct).max() < 1e-3 * np.abs(direct).max()


def test_phase_across_the_beam_is_that_of_a_paraxial_gaussian_beam() -> None:
    # Textbook: exp(-xi^2 / (2 (a^2 + i y / k))); the phase at xi is xi^2 / 2 * (y / k) / (a^4 + (y / k)^2).
    values = beam(HEAD, Channel.SPECULAR).scalar(np.array([0.0, 6.0]))
    spread = HEAD.stand_off_mm / HEAD.wavenumber_per_mm()
    expected = 6.0**2 / 2 * spread / (HEAD.aperture_sd_mm**4 + spread**2)
    assert np.angle(values[1] / values[0]) == pytest.approx(expected, rel=0.05)


def test_point_farther_away_than_heard_adds_next_to_nothing() -> None:
    before, behind = beam(HEAD, Channel.SCATTER).heard_mm
    offset = HEAD.axis_offset_mm(Channel.SCATTER)
    near = np.abs(beam(HEAD, Channel.SCATTER).scalar(offset + np.arange(-5, 5, 0.1))).max()
    far = offset + np.array([before + 0.1, -behind - 0.1])
    assert (np.abs(beam(HEAD, Channel.SCATTER).scalar(far)) ** 2 < 5e-4 * near**2).all()
