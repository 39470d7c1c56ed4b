import numpy as np
import pytest
from scipy.integrate import quad

from seamtell.data_synth.head import Head, Joint
from seamtell.data_synth.scattering.sound_seam import sound_echo
from seamtell.data_synth.scattering.strength import sound_strength
from seamtell.features.contracts import Channel

from .first_order import ramp_factor, sound_reflection, step_reflection


def test_step_from_1_5_to_1_3_mm_reflects_0_2_over_2_8() -> None:
    # Impedance step at low frequency, (h1 - h2) / (h1 + h2).
    assert step_reflection(1.5, 1.3) == pytest.approx(0.2 / 2.8, rel=1e-12)


def test_sound_seam_becomes_the_abrupt_step_at_low_frequency() -> None:
    assert sound_reflection(Joint(1.5, 1.3), 1e-4) == pytest.approx(0.2 / 2.8, rel=2e-3)


@pytest.mark.parametrize("turn", [0.2, 0.7, np.pi / 2, 2.5])
def test_ramp_factor_is_the_transform_of_a_raised_cosine_slope(turn: float) -> None:
    exact, _ = quad(lambda y: np.pi / 2 * np.sin(np.pi * (y + 0.5)) * np.cos(2 * turn * y), -0.5, 0.5)
    assert ramp_factor(turn, 1.0) == pytest.approx(exact, rel=1e-6)


def test_first_order_twin_has_the_size_of_the_numerical_strength() -> None:
    k = Head().wavenumber_per_mm()
    # The twin has no phase; 2 % is what is left of the shear inside the ramp.
    assert sound_reflection(Joint(1.5, 1.3), k) == pytest.approx(
        abs(sound_strength(Joint(1.5, 1.3), k)), rel=0.02
    )


def test_sound_echo_is_the_numerical_strength_of_the_free_edge() -> None:
    # Free-edge echo and R of an independent prototype: (14.9957 + 5.7248 i) times (0.06767 - 0.00867 i).
    got = sound_echo(Joint(1.5, 1.3), Head(), Channel.SPECULAR)
    assert got == pytest.approx((14.9957 + 5.7248j) * (0.06767 - 0.00867j), rel=6e-3)


def test_tilted_channel_of_a_sound_seam_is_silent() -> None:
    assert sound_echo(Joint(1.5, 1.3), Head(), Channel.SCATTER) == 0
