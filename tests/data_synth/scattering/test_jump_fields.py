import mpmath
import numpy as np
import pytest

from seamtell.data_synth.scattering.jump_fields import jump_stresses
from seamtell.data_synth.scattering.line_spring import jump_operator

K, K_PLATE = 1.16716, 0.69736


@pytest.mark.parametrize("lag_mm", [2.0, 5.0, 15.0])
def test_far_stress_of_a_jump_is_that_of_the_line_spring(lag_mm: float) -> None:
    # The same kernel by its integral over wavenumbers, hats of 0.1 mm.
    table = jump_operator(K, K_PLATE, 0.1)
    sliding, opening = jump_stresses(K, K_PLATE, np.array([lag_mm]))
    place = round(lag_mm / 0.1)
    # hats smooth the two sides of it, which takes a few parts in a thousand
    assert sliding[0] == pytest.approx(table.sliding[place] / 0.01, rel=5e-3, abs=1e-3)
    assert opening[0] == pytest.approx(table.opening[place] / 0.01, rel=5e-3, abs=1e-3)


def test_derivatives_of_the_hankel_function_by_mpmath() -> None:
    # (k^2 + 2 d^2/dx^2)^2 H_0(kx) / 2 - 2 d^2/dx^2 (k_P^2 + d^2/dx^2) H_0(k_P x), times i / (2 k^2)
    def shear(x):  # type: ignore[no-untyped-def]
        return mpmath.hankel1(0, K * x)

    def plate(x):  # type: ignore[no-untyped-def]
        return mpmath.hankel1(0, K_PLATE * x)

    x = 3.3
    d2, d4 = (mpmath.diff(shear, x, n) for n in (2, 4))
    p2, p4 = (mpmath.diff(plate, x, n) for n in (2, 4))
    exact = 1j / (2 * K**2) * ((K**4 * shear(x) + 4 * K**2 * d2 + 4 * d4) / 2 - 2 * (K_PLATE**2 * p2 + p4))
    assert jump_stresses(K, K_PLATE, np.array([-x]))[0][0] == pytest.approx(complex(exact), rel=1e-6)
