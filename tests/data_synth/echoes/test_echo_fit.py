from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import chi2

from seamtell.data_synth.echo_fit import CHI2_ALLOWANCE, fit_indication, novelty_p
from seamtell.data_synth.flaws import Hole, Mismatch, RoughJoint, Slot
from seamtell.data_synth.simulated_flaw import EchoCause, Size
from seamtell.features.contracts import Flaw, Side

# Geometry, length, cause, and the sizes that the range must hold. None lies on the grid of the design.
CASES = {
    "hole": ((Hole(1.3, 1.45),), 1.4, EchoCause.PINHOLE, {Size.DIAMETER: 1.45}),
    "small hole": ((Hole(1.3, 0.72),), 0.7, EchoCause.PINHOLE, {Size.DIAMETER: 0.72}),
    "notch": (
        (Slot.even(-2.2, 6.1, 0.66, 0.25, Side.TOP),),
        6.1,
        EchoCause.EDGE_NOTCH,
        {Size.LENGTH: 6.1, Size.DEPTH: 0.66},
    ),
    "lack of fusion": (
        (Slot.even(0.4, 27.0, 0.93, 0.08, Side.BOTTOM),),
        27.0,
        EchoCause.LACK_OF_FUSION,
        {Size.LENGTH: 27.0, Size.DEPTH: 0.93},
    ),
    "through": (
        (Slot.even(0.4, 17.0, 1.4, 0.08, Side.BOTTOM),),
        17.0,
        EchoCause.LACK_OF_FUSION,
        {Size.LENGTH: 17.0, Size.DEPTH: 1.4},
    ),
    "mismatch": (
        (Mismatch(-1.1, 0.31, 23.0, 5.0),),
        28.0,
        EchoCause.MISMATCH,
        {Size.LENGTH: 23.0, Size.LOWERED: 0.31},
    ),
    "droplet": (
        (RoughJoint(-1.0, 0.2, tuple(0.55 * (1 - np.linspace(-1, 1, 11) ** 2)), 1.0),),
        2.0,
        EchoCause.DROPLET,
        {Size.HEIGHT: 0.55},
    ),
}


@pytest.mark.parametrize("reverse", [False, True])
@pytest.mark.parametrize("name", CASES)
def test_a_simulated_flaw_is_recovered_within_the_stated_range(library, recorded, name, reverse):
    flaws, extent, cause, sizes = CASES[name]
    fit = fit_indication(library, recorded(flaws, extent, reverse=reverse))
    own = next(one for one in fit.possible if one.cause is cause)
    for size, truth in sizes.items():
        low, high = own.ranges[size]
        assert low <= truth <= high, (size, low, high)
    assert fit.p_value > 0.05


@pytest.mark.parametrize("name", ["hole", "lack of fusion", "through", "mismatch"])
def test_a_flaw_that_nothing_else_resembles_is_best_explained_by_its_own_class(library, recorded, name):
    flaws, extent, cause, _ = CASES[name]
    assert fit_indication(library, recorded(flaws, extent)).fits[0].cause is cause


def test_a_refined_position_is_finer_than_the_grid(library, recorded):
    flaws, extent, *_ = CASES["lack of fusion"]
    best = fit_indication(library, recorded(flaws, extent)).fits[0]
    assert best.centre_mm == pytest.approx(100.4, abs=0.2)


def test_travel_against_the_axis_is_noticed(library, recorded):
    flaws, extent, *_ = CASES["through"]
    ahead, back = (fit_indication(library, recorded(flaws, extent, reverse=r)).fits[0] for r in (False, True))
    assert (ahead.mirrored, back.mirrored) == (False, True)
    assert ahead.centre_mm + back.centre_mm == pytest.approx(200.0, abs=0.1)


@pytest.mark.parametrize("gain_db", [0.0, 2.0, 4.0, 5.5])
def test_a_gain_change_is_explained_without_a_flaw(library, recorded, gain_db):
    fit = fit_indication(library, recorded((), 20.0, gain_bump_db=gain_db))
    assert EchoCause.GAIN_CHANGE in [one.cause for one in fit.possible]
    assert EchoCause.GAIN_CHANGE.label is Flaw.SOUND


def test_a_row_of_four_holes_that_no_table_holds_is_explained_by_nothing(library, recorded):
    row = (Hole(-15.0, 1.2), Hole(-6.0, 0.6), Hole(2.0, 1.9), Hole(14.0, 0.9))
    assert fit_indication(library, recorded(row, 31.0)).p_value < 0.01


def test_fits_come_best_first_and_the_best_is_always_possible(library, recorded):
    fit = fit_indication(library, recorded(CASES["notch"][0], 6.1))
    misfits = [one.misfit for one in fit.fits]
    assert misfits == sorted(misfits)
    assert fit.possible[0] is fit.fits[0]
    assert {one.cause for one in fit.fits} == set(EchoCause)


def test_refined_sizes_stay_within_the_class(library, recorded):
    fit = fit_indication(library, recorded((Slot.even(0.0, 2.6, 0.9, 0.1, Side.BOTTOM),), 2.6))
    fusion = next(one for one in fit.fits if one.cause is EchoCause.LACK_OF_FUSION)
    assert fusion.flaw.length_mm >= 5.0 - 1e-4


def test_the_allowance_is_the_95_percent_point_of_chi_squared():
    assert pytest.approx(chi2.ppf(0.95, 3), abs=1e-3) == CHI2_ALLOWANCE


def test_p_values_of_drawn_flaws_are_spread_evenly(library):
    p = [
        novelty_p(m, e, library)
        for m, e in zip(library.novelty_misfits, library.novelty_extents_mm, strict=True)
    ]
    # Each of n draws compared with all n: ranks, so the share below any level is that level.
    assert np.mean(np.array(p) <= 0.25) == pytest.approx(0.25, abs=0.03)
