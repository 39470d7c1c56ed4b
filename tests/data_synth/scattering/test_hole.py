import numpy as np
import pytest
from scipy.special import hankel1, hankel2

from seamtell.data_synth.flaws import Hole
from seamtell.data_synth.head import Head, Joint
from seamtell.data_synth.line_scan import flaw_echo_pct
from seamtell.data_synth.scattering.hole import BLIND_EXPONENT, scattered_orders
from seamtell.features.contracts import Channel, Side

HEAD, JOINT = Head(), Joint(1.5, 1.3)
K, K_PLATE = HEAD.wavenumber_per_mm(), HEAD.plate_wavenumber_per_mm()


def test_orders_meet_the_independent_prototype() -> None:
    # Prototype figures for a 1.2 mm hole at 0.6 MHz.
    expected = [-0.00040 - 0.01987j, -0.03006 - 0.14231j, -0.25847 + 0.40036j, -0.00147 + 0.03745j]
    assert np.abs(scattered_orders(K, K_PLATE, 1.2)[:4] - expected).max() < 1e-4


@pytest.mark.parametrize("diameter_mm", [0.3, 0.8, 1.2, 2.0])
def test_no_order_gives_back_more_energy_than_came_in(diameter_mm: float) -> None:
    # Energy: an incoming wave leaves with amplitude 1 + 2 T; order 0 cannot turn into S0.
    out = np.abs(1 + 2 * scattered_orders(K, K_PLATE, diameter_mm))
    assert out[0] == pytest.approx(1.0, abs=1e-12)
    assert (out <= 1 + 1e-12).all()


def test_order_zero_is_the_closed_form_of_a_twisting_wave() -> None:
    # Textbook: torsion of a circular rim, shear traction ~ J_2(kr), so T_0 = -J_2 / H_2.
    x = K * 0.6
    assert scattered_orders(K, K_PLATE, 1.2)[0] == pytest.approx(
        -(1 + hankel2(2, x) / hankel1(2, x)) / 2, abs=1e-12
    )


def test_small_hole_scatters_with_its_area() -> None:
    # Long-wave limit: amplitude grows with the square of the diameter.
    small, double = scattered_orders(K, K_PLATE, 0.05), scattered_orders(K, K_PLATE, 0.1)
    assert abs(double[2] / small[2]) == pytest.approx(4.0, rel=0.01)


@pytest.mark.parametrize(
    ("channel", "expected"),
    [
        (Channel.SPECULAR, [7.313 - 5.119j, 10.086 - 16.684j, 7.313 - 5.119j]),
        (Channel.SCATTER, [7.316 + 10.114j, -10.119 + 18.968j, -5.593 - 8.052j]),
    ],
)
def test_echo_of_a_hole_meets_the_independent_prototype(channel: Channel, expected: list[complex]) -> None:
    got = flaw_echo_pct(Hole(0.0, 1.2), JOINT, HEAD, channel, np.array([-5.0, 0.0, 5.0]))
    assert np.abs(got - expected).max() < 2e-3


def test_blind_pore_echoes_like_a_smaller_through_hole() -> None:
    at = np.array([0.0])
    blind = flaw_echo_pct(Hole(0.0, 1.0, Side.TOP, 0.7), JOINT, HEAD, Channel.SCATTER, at)
    through = flaw_echo_pct(Hole(0.0, 0.5**BLIND_EXPONENT), JOINT, HEAD, Channel.SCATTER, at)
    assert blind == pytest.approx(through, rel=2e-3)
