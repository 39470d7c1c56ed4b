"""The line spring's jumps against exact cracks: closed kernels, Griffith's, and half planes.

The scalar twin has the kernel i beta / 2 in place of the plate's two. It is not part of the
project; here it shows that the scheme of hats itself meets Sommerfeld's half plane.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.linalg import solve, toeplitz
from scipy.special import fresnel

from seamtell.data_synth.head import Head
from seamtell.data_synth.material import STEEL
from seamtell.data_synth.scattering.line_spring import jump_operator

from .half_plane_crack import half_plane_jump
from .hankel_jumps import hankel_jumps

K, K_PLATE = Head().wavenumber_per_mm(), Head().plate_wavenumber_per_mm()
STIFFNESS = 2 * (1 + STEEL.poisson)
KINDS = ["sliding", "opening"]


def open_crack(row, spacing_mm: float):  # type: ignore[no-untyped-def]
    """Jump over an open crack under unit stress."""
    return solve(-toeplitz(row, row), np.full(len(row), spacing_mm, dtype=complex))


def one_ended_crack(row, spacing_mm: float):  # type: ignore[no-untyped-def]
    """Jump near one end of a long open crack: the far three quarters swallow what runs along it.

    A growing loss (a spring with imaginary stiffness) takes the waves, the load fades with it.
    """
    x = spacing_mm * np.arange(1, len(row) + 1)
    beyond = np.clip((x / x[-1] - 0.25) / 0.75, 0, None)
    matrix = -toeplitz(row, row) - np.diag(3j * spacing_mm * K * beyond**3)
    load = spacing_mm * np.cos(np.pi / 2 * beyond) ** 2
    return x, solve(matrix, load.astype(complex))


@pytest.mark.parametrize("spacing_mm", [0.1, 0.4])
@pytest.mark.parametrize("kind", KINDS)
def test_table_of_jumps_meets_its_closed_form(kind: str, spacing_mm: float) -> None:
    # Hankel functions of scipy.special in place of the wavenumber integral.
    exact = getattr(hankel_jumps(K, K_PLATE, spacing_mm, 60), kind)
    found = getattr(jump_operator(K, K_PLATE, spacing_mm), kind)[:60]
    assert np.abs(found - exact).max() < 1e-5 * np.abs(exact[0])


@pytest.mark.parametrize("kind", KINDS)
def test_short_crack_opens_like_griffiths_the_closer_the_finer_the_hats(kind: str) -> None:
    # Griffith (1921), plane stress, tension or shear s: (4 s / E) sqrt(a² - x²), E = 2 mu (1 + nu), so the
    # open area is 2 pi a² s / E; k a = 0.01. Hats give too little by a share of their spacing.
    shortfalls = []
    for spacing, n in ((0.1, 49), (0.05, 99), (0.025, 199)):
        a = spacing * (n + 1) / 2
        k = 0.01 / a
        row = getattr(jump_operator(k, k * K_PLATE / K, spacing), kind)[:n]
        x = spacing * (np.arange(n) - n // 2)
        jump, exact = open_crack(row, spacing), 4 / STIFFNESS * np.sqrt(a**2 - x**2)
        assert np.abs(jump - exact).max() < 0.012 * exact.max()
        shortfalls.append(1 - float(jump.sum().real) * spacing / (2 * np.pi * a**2 / STIFFNESS))
    assert shortfalls[0] > 1.7 * shortfalls[1] > 1.7 * shortfalls[2]
    assert abs(shortfalls[2]) < 0.003


def test_scalar_twin_of_a_short_crack_slides_like_a_mode_three_crack() -> None:
    # Textbook mode III: (2 tau / mu) sqrt(a² - x²).
    spacing, n = 0.05, 99
    a = spacing * (n + 1) / 2
    k = 0.002 / a
    x = spacing * (np.arange(n) - n // 2)
    exact = 2 * np.sqrt(a**2 - x**2)
    row = hankel_jumps(k, k * K_PLATE / K, spacing, n).scalar
    assert np.abs(open_crack(row, spacing) - exact).max() < 0.01 * exact.max()


@pytest.mark.parametrize("kind", KINDS)
def test_exact_half_plane_has_the_published_stress_intensity(kind: str) -> None:
    # Freund, suddenly loaded half plane, Fourier transformed, plane stress (from memory):
    # K_I = sqrt(2 (1 + nu)) (k_P / k) / sqrt(-i k_P), K_II = sqrt(2 (1 + nu)) / sqrt(-i k);
    # jump = (8 K / E) sqrt(x / 2 pi). This guards the reference itself.
    own = K if kind == "sliding" else K_PLATE
    intensity = np.sqrt(STIFFNESS) * own / K / np.sqrt(-1j * own)
    _, root = half_plane_jump(kind, K, K_PLATE, np.array([1.0]))
    assert root == pytest.approx(8 * intensity / STIFFNESS / np.sqrt(2 * np.pi), rel=1e-4)


@pytest.mark.parametrize("kind", KINDS)
def test_end_of_a_long_crack_answers_like_the_elastic_half_plane(kind: str) -> None:
    # Maue's exact solution, Rayleigh wave along the faces included; from 1 to 10 mm from the end.
    spacing = 0.1
    row = getattr(jump_operator(K, K_PLATE, spacing), kind)[:400]
    x, jump = one_ended_crack(row, spacing)
    near = (x > 1) & (x < 10)
    exact, _ = half_plane_jump(kind, K, K_PLATE, x[near])
    assert np.abs(jump[near] / exact - 1).max() < 0.012


def test_end_of_a_long_scalar_slit_answers_like_sommerfelds_half_plane() -> None:
    # Sommerfeld: jump = (2i/k) sqrt(2) e^{-i pi/4} (C + i S)(sqrt(2kx/pi)), C and S of scipy.special.
    spacing = 0.1
    x, jump = one_ended_crack(hankel_jumps(K, K_PLATE, spacing, 400).scalar, spacing)
    near = (x > 1) & (x < 10)
    sine, cosine = fresnel(np.sqrt(2 * K * x / np.pi))
    exact = 2j / K * np.sqrt(2) * np.exp(-1j * np.pi / 4) * (cosine + 1j * sine)
    assert np.abs(jump[near] / exact[near] - 1).max() < 0.012


@pytest.mark.parametrize("kind", KINDS)
def test_far_from_its_end_a_crack_opens_like_a_free_edge(kind: str) -> None:
    # An edge under a plane wave at normal incidence moves twice the wave: jump = 2i s / k of its wave.
    own = K if kind == "sliding" else K_PLATE
    jump, _ = half_plane_jump(kind, K, K_PLATE, np.arange(60.0, 90.0, 0.5))
    stiffness = 1.0 if kind == "sliding" else (K / K_PLATE) ** 2
    plane = 2j / (own * stiffness)
    spacing = 0.4
    found = open_crack(getattr(jump_operator(K, K_PLATE, spacing), kind)[:210], spacing)
    middle = found[60:150].mean()
    assert middle == pytest.approx(plane, rel=0.05)
    assert jump.mean() == pytest.approx(plane, rel=0.05)
