import numpy as np
import pytest
from scipy.linalg import solve, toeplitz

from seamtell.data_synth.material import STEEL
from seamtell.data_synth.scattering.line_spring import HAT_LOSS, jump_operator


@pytest.mark.parametrize("kind", ["sliding", "opening"])
def test_open_crack_in_a_long_wave_opens_like_the_static_crack(kind: str) -> None:
    # Griffith (1921), plane stress: opening (4 sigma / E) sqrt(a^2 - x^2), sliding the same;
    # E = 2 mu (1 + nu).
    spacing, n, k = 0.1, 99, 1e-3
    ratio = STEEL.c_shear_mm_per_us / STEEL.c_plate_mm_per_us
    row = getattr(jump_operator(k, k * ratio, spacing), kind)[:n]
    jump = solve(-toeplitz(row, row), np.full(n, spacing, dtype=complex))
    x = spacing * (np.arange(n) - n // 2)
    exact = 2 / (1 + STEEL.poisson) * np.sqrt((spacing * (n + 1) / 2) ** 2 - x**2)
    middle = slice(20, -20)
    assert np.abs(jump[middle] / exact[middle] - 1).max() < 0.02


def test_crack_between_waves_loses_energy_only_outwards() -> None:
    # A passive surrounding: the imaginary (radiating) part of -T is one-signed for every jump.
    row = jump_operator(1.16716, 0.69736, 0.2, 60).sliding
    values = np.linalg.eigvalsh(toeplitz(row.imag))
    assert values.min() > -1e-6 * np.abs(values).max() or values.max() < 1e-6 * np.abs(values).max()


@pytest.mark.parametrize("lag", [0, 2, 3, 8, 9, 40, 200])
def test_row_is_the_integral_over_the_wavenumber(lag: int) -> None:
    # The definition by brute force: (1/pi) int K d^2 sinc^4(k_x d / 2) cos(k_x x) dk_x.
    k, k_plate, spacing = 1.16716, 0.69736, 0.2
    turns = (np.arange(400_000) + 0.5) / 400_000
    pieces = []
    for low, high in ((0, k_plate), (k_plate, k), (k, 2 * k), (2 * k, 400.0)):
        k_x = low + (high - low) * np.sin(turns * np.pi / 2) ** 2
        step = (high - low) * np.sin(np.pi * turns) * np.pi / 2 / len(turns)
        beta, alpha = (np.sqrt((q**2 - k_x**2).astype(complex)) for q in (k, k_plate))
        rayleigh = (k**2 - 2 * k_x**2) ** 2 + 4 * k_x**2 * alpha * beta
        window = spacing**2 * np.sinc(k_x * spacing / 2 / np.pi) ** 4 * np.cos(k_x * spacing * lag)
        pieces.append(np.sum(1j * rayleigh / (2 * beta * k**2) * window * step) / np.pi)
    row = jump_operator(k, k_plate, spacing).sliding
    assert abs(row[lag] - sum(pieces)) < 2e-4 * abs(row[0])
    assert abs(row[lag] - sum(pieces)) < 0.01 * abs(row[lag])


def test_shorter_table_is_the_start_of_the_longer() -> None:
    assert np.array_equal(jump_operator(1.1, 0.7, 0.3, 7).opening, jump_operator(1.1, 0.7, 0.3).opening[:7])


def test_hats_lose_the_stated_share_of_a_spacing_at_each_end() -> None:
    # Static crack: volume pi a^2 / (1 + nu) for unit stress over mu (Griffith, plane stress).
    spacing, n, k = 0.01, 159, 1e-3
    k_plate = k * STEEL.c_shear_mm_per_us / STEEL.c_plate_mm_per_us
    row = jump_operator(k, k_plate, spacing, n).sliding
    volume = spacing * solve(-toeplitz(row, row), np.full(n, spacing, dtype=complex)).sum().real
    half_length = np.sqrt(volume * (1 + STEEL.poisson) / np.pi)
    assert (spacing * (n + 1) / 2 - half_length) / spacing == pytest.approx(HAT_LOSS, abs=0.002)
