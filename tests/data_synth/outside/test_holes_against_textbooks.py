"""Holes against Kirsch, Hooke's law differentiated numerically, conservation laws and short-wave limits."""

from __future__ import annotations

from math import pi

import numpy as np
import pytest
from scipy.special import h1vp, hankel1, jv, jvp

from seamtell.data_synth.material import STEEL
from seamtell.data_synth.scattering.inclusion import CylindricalWaves, inclusion_transition

SPEED_RATIO = STEEL.c_shear_mm_per_us / STEEL.c_plate_mm_per_us
NU = STEEL.poisson
PHI, PSI = 0, 1


def transition(orders, k: float, diameter_mm: float):  # type: ignore[no-untyped-def]
    return inclusion_transition(np.asarray(orders), k, k * SPEED_RATIO, diameter_mm, 0.0)


def slope(function, r: float) -> complex:  # type: ignore[no-untyped-def]
    """Central difference of eighth order."""
    step = 0.01 * r
    weights = ((1, 4 / 5), (2, -1 / 5), (3, 4 / 105), (4, -1 / 280))
    return sum(w * (function(r + m * step) - function(r - m * step)) for m, w in weights) / step


def hooke_tractions(n: int, k: float, radius: float, wave: int, outgoing: bool) -> list[complex]:
    """Radial and shear traction of one potential: strains in polar coordinates, Hooke in plane stress.

    Derivatives along the radius are differences.
    """
    bessel = hankel1 if outgoing else jv
    lame = 2 * NU / (1 - NU)

    def potential(r):  # type: ignore[no-untyped-def]
        return bessel(n, (k * SPEED_RATIO if wave == PHI else k) * r)

    def radial(r):  # type: ignore[no-untyped-def]
        return slope(potential, r) if wave == PHI else 1j * n * potential(r) / r

    def along(r):  # type: ignore[no-untyped-def]
        return 1j * n * potential(r) / r if wave == PHI else -slope(potential, r)

    stretch_r = slope(radial, radius)
    stretch_along = (radial(radius) + 1j * n * along(radius)) / radius
    shear = 1j * n * radial(radius) / radius + slope(along, radius) - along(radius) / radius
    return [complex(2 * stretch_r + lame * (stretch_r + stretch_along)), complex(shear)]


@pytest.mark.parametrize("diameter_mm", [0.4, 1.2, 2.4])
@pytest.mark.parametrize("order", [0, 1, 2, 5])
def test_hole_meets_hookes_law_differentiated_numerically(order: int, diameter_mm: float) -> None:
    # Outside source: the definition itself, strains in polar coordinates by differences of eighth order.
    k, radius = 1.16716, diameter_mm / 2
    out = np.array([hooke_tractions(order, k, radius, wave, True) for wave in (PHI, PSI)]).T
    into = np.array([hooke_tractions(order, k, radius, wave, False) for wave in (PHI, PSI)]).T
    if order == 0:  # the two waves do not see each other
        exact = np.diag([-into[0, 0] / out[0, 0], -into[1, 1] / out[1, 1]])
    else:
        exact = np.linalg.solve(out, -into)
    assert np.abs(transition([order], k, diameter_mm)[0] - exact).max() < 1e-9


@pytest.mark.parametrize("k_radius", [0.05, 0.7, 3.0, 12.0])
def test_extinction_is_what_leaves_as_shear_and_as_stretch_wave(k_radius: float) -> None:
    # Optical theorem in two dimensions: both potentials carry equal power for equal amplitude,
    # -Re sum T = sum |T|^2 over both outgoing waves, for either incoming one.
    t = transition(range(-30, 31), k_radius, 2.0)
    for incoming in (PHI, PSI):
        extinct = -np.sum(t[:, incoming, incoming].real)
        scattered = np.sum(np.abs(t[:, :, incoming]) ** 2)
        assert extinct == pytest.approx(scattered, rel=1e-8)


def test_shear_turns_into_stretch_as_readily_as_back() -> None:
    # Reciprocity of each order.
    t = transition(range(-12, 13), 2.0, 1.6)
    assert np.abs(np.abs(t[:, PHI, PSI]) - np.abs(t[:, PSI, PHI])).max() < 1e-12


@pytest.mark.parametrize("diameter_mm", [0.02, 0.04])
def test_small_hole_scatters_by_its_area_as_kirsch_says(diameter_mm: float) -> None:
    # Kirsch (1898) under shear: far displacement (kappa + 1) tau a^2 / (2 mu r), kappa = (3 - nu)/(1 + nu);
    # matched to H_2(kr) near the hole it gives T_2 = i pi (ka)^2 / (2 (1 + nu)), and (1 - nu)/2 of it as S0.
    k = 1.16716
    exact = 0.5j * pi * (k * diameter_mm / 2) ** 2 / (1 + NU)
    t = transition([2], k, diameter_mm)[0]
    assert t[PSI, PSI] == pytest.approx(exact, rel=2e-3)
    assert abs(t[PHI, PSI]) == pytest.approx(abs(exact) * (1 - NU) / 2, rel=2e-3)


def rim_stress(incoming, theta_rad: float) -> float:  # type: ignore[no-untyped-def]
    """Hoop stress on the rim of a hole far smaller than the waves; incoming (5, 2), orders -2 to 2."""
    orders, k, radius = np.arange(-2, 3), 1e-3, 1.0
    t = transition(orders, k, 2 * radius)
    sent = np.einsum("noi,ni->no", t, incoming)
    total = 0
    for outgoing, amplitudes in ((False, incoming), (True, sent)):
        waves = CylindricalWaves.at(orders, k, k * SPEED_RATIO, radius, outgoing=outgoing)
        total = total + np.sum((waves.hoop * amplitudes).sum(axis=1) * np.exp(1j * orders * theta_rad))
    return float((total / k**2).real)  # the imaginary part is the phase across the hole, of order ka


def test_uniaxial_tension_triples_at_the_rim() -> None:
    # Kirsch (1898): 3 beside the hole, -1 in line. A stretch wave along x strains only along x, stress
    # sigma and nu sigma; minus nu times the same along y leaves tension along x alone, -(1 - nu^2) mu k^2.
    orders = np.arange(-2, 3)
    incoming = np.zeros((5, 2), dtype=complex)
    incoming[:, PHI] = 1j**orders * (1 - NU * np.exp(-0.5j * pi * orders))
    tension = -(1 - NU**2)
    assert rim_stress(incoming, pi / 2) / tension == pytest.approx(3.0, abs=1e-4)
    assert rim_stress(incoming, 0.0) / tension == pytest.approx(-1.0, abs=1e-4)


def test_shear_quadruples_at_the_rim() -> None:
    # Kirsch: pure shear tau is tension and pressure crossed, 3 + 1 = 4 on the diagonals.
    # A shear wave along x with psi = e^{ikx}: sigma_xy = mu k^2 exactly, by Hooke.
    orders = np.arange(-2, 3)
    incoming = np.zeros((5, 2), dtype=complex)
    incoming[:, PSI] = 1j**orders
    assert abs(rim_stress(incoming, pi / 4)) == pytest.approx(4.0, abs=1e-4)
    assert rim_stress(incoming, -pi / 4) == pytest.approx(-rim_stress(incoming, pi / 4), abs=1e-4)


def cross_section_over_diameter(orders_out) -> float:  # type: ignore[no-untyped-def]
    """Total cross-section of a cylinder over twice its width, by the optical theorem; ka from 1 mm radius."""
    k, t = orders_out
    return float(-4 / k * np.sum(t.real) / 4)


def scalar_twin(k: float):  # type: ignore[no-untyped-def]
    """Rigid cylinder in sound, free rim for SH: -J_n' / H_n', radius 1."""
    n = np.arange(-(int(k) + 30), int(k) + 31)
    return k, -jvp(n, k) / h1vp(n, k)


def shear_wave_on_hole(k: float):  # type: ignore[no-untyped-def]
    n = np.arange(-(int(k) + 30), int(k) + 31)
    return k, transition(n, k, 2.0)[:, PSI, PSI]


@pytest.mark.parametrize(("series", "left"), [(scalar_twin, 0.02), (shear_wave_on_hole, 0.05)])
def test_hole_in_short_waves_takes_twice_its_width_out_of_the_beam(series, left: float) -> None:  # type: ignore[no-untyped-def]
    # Textbook (Morse and Feshbach; Bowman, Senior and Uslenghi): total cross-section -> 4a, shadow and
    # reflection in equal parts. It comes in with (ka)^(-2/3). The scalar twin shows the road.
    off = [abs(cross_section_over_diameter(series(k)) - 1) for k in (10.0, 40.0, 160.0)]
    assert off[2] < left
    assert off[0] > 1.5 * off[1] > 1.5**2 * off[2]


def backscatter(orders_out) -> complex:  # type: ignore[no-untyped-def]
    """Far field straight back, its travel to the rim and back taken off; radius 1."""
    k, t = orders_out
    n = np.arange(len(t)) - len(t) // 2
    return complex(np.sqrt(2 / (pi * k)) * np.sum(np.where(n % 2, -1, 1) * t) * np.exp(2j * k))


@pytest.mark.parametrize("series", [scalar_twin, shear_wave_on_hole])
def test_hole_in_short_waves_sends_back_like_a_round_mirror(series) -> None:  # type: ignore[no-untyped-def]
    # Geometrical optics: |f(180 deg)|^2 -> a / 2. Waves that creep around the rim (Rayleigh waves
    # in the plate) come with ever changing phase and go away in the mean over many frequencies.
    sent_back = np.mean([backscatter(series(k)) for k in np.arange(40.0, 60.0, 0.25)])
    assert abs(sent_back) ** 2 == pytest.approx(0.5, rel=0.02)
