import numpy as np
import pytest
from scipy.linalg import solve, toeplitz

from seamtell.data_synth.material import STEEL
from seamtell.data_synth.scattering.line_spring import jump_operator


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
    row = jump_operator(1.16716, 0.69736, 0.2).sliding[:60]
    values = np.linalg.eigvalsh(toeplitz(row.imag))
    assert values.min() > -1e-6 * np.abs(values).max() or values.max() < 1e-6 * np.abs(values).max()
