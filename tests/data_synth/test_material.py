import pytest
from scipy.constants import pi

from seamtell.data_synth.head import Head
from seamtell.data_synth.material import STEEL
from seamtell.data_synth.shop_plan import ShopPlan


def test_poisson_and_plate_speed_meet_the_closed_forms() -> None:
    # Plane stress: c_P^2 = E / (rho (1 - nu^2)), E = 2 mu (1 + nu), mu = rho c_T^2.
    nu = STEEL.poisson
    assert nu == pytest.approx(0.28601, abs=1e-5)
    squared = 2 * STEEL.c_shear_mm_per_us**2 * (1 + nu) / (1 - nu**2)
    assert STEEL.c_plate_mm_per_us**2 == pytest.approx(squared, rel=1e-12)


def test_wavenumber_is_that_of_sh0_which_knows_no_dispersion() -> None:
    assert Head(frequency_mhz=0.6).wavenumber_per_mm() == pytest.approx(2 * pi * 0.6 / 3.23)


def test_every_sheet_of_the_shop_stays_below_the_cut_off_of_sh1() -> None:
    # SH1 travels from f h = c_T / 2 on; below it SH0 is the only shear-horizontal wave.
    for recipe in ShopPlan().recipes:
        assert 0.6 * max(recipe.joint.sheet_a_mm, recipe.joint.sheet_b_mm) < STEEL.c_shear_mm_per_us / 2
