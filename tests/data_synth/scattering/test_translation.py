import mpmath
import numpy as np
import pytest
from scipy.special import jv

from seamtell.data_synth.scattering.translation import outgoing_to_regular


@pytest.mark.parametrize("along_mm", [6.0, -4.5])
@pytest.mark.parametrize("order", [0, 1, -3, 4])
def test_waves_seen_from_another_centre_are_the_same_field(order: int, along_mm: float) -> None:
    # Graf's addition theorem (Abramowitz and Stegun 9.1.79); the direct value by mpmath.
    k, orders = 1.16716, np.arange(-25, 26)
    table = outgoing_to_regular(orders, k, along_mm)
    for x, y in ((0.4, 0.3), (-0.5, 0.8), (0.0, -1.0)):
        about_new = (
            table[:, 25 + order] * jv(orders, k * np.hypot(x, y)) * np.exp(1j * orders * np.arctan2(y, x))
        )
        far_x = x + along_mm
        direct = complex(mpmath.hankel1(order, k * np.hypot(far_x, y))) * np.exp(
            1j * order * np.arctan2(y, far_x)
        )
        assert np.sum(about_new) == pytest.approx(direct, rel=1e-8)
