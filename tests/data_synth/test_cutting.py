from collections import Counter

import numpy as np
import pytest

from seamtell.data_synth.cutting import SeamRecord, choose_cuts, cut_at
from seamtell.data_synth.excursions import Excursion, find_excursions
from seamtell.data_synth.flaw_sizes import HiddenFlaw
from seamtell.data_synth.shop_plan import CuttingPlan, ShopPlan
from seamtell.features.contracts import Flaw, Purpose, RecipeLimits, SeamTrace, Side

PLAN = CuttingPlan()
START = ShopPlan().start
NOTCH = HiddenFlaw(Flaw.EDGE_NOTCH, "edge_notch", 98.0, 103.0, Side.TOP, 0.5, 0.2)


def seam(
    number: int, excursions: tuple[Excursion, ...], flaws: tuple[HiddenFlaw, ...] = (NOTCH,)
) -> SeamRecord:
    return SeamRecord(f"S{number}", START, 400.0, flaws, excursions, np.random.SeedSequence(number))


def at(x_mm: float, of_limit: float = 1.2) -> Excursion:
    return Excursion(x_mm - 5, x_mm + 5, x_mm, of_limit)


def test_examiner_errs_in_two_to_four_percent_of_the_cuts() -> None:
    cuts = [cut_at(seam(i, ()), at(100.0), Purpose.TARGETED, PLAN, f"C{i}") for i in range(4000)]
    wrong = Counter(cut.flaw for cut in cuts if cut.flaw is not cut.true_flaw)
    assert 0.02 < sum(wrong.values()) / len(cuts) < 0.04
    assert set(wrong) == {Flaw.PINHOLE, Flaw.LACK_OF_FUSION}


def test_noted_position_errs_by_about_half_the_stated_tolerance() -> None:
    cuts = [cut_at(seam(i, ()), at(100.0), Purpose.TARGETED, PLAN, f"C{i}") for i in range(1500)]
    assert {cut.position_tol_mm for cut in cuts} == set(PLAN.tolerances_mm)
    errors = np.array([(cut.position_mm - 100.0) / cut.position_tol_mm for cut in cuts])
    assert errors.std() == pytest.approx(0.5, abs=0.05)


def test_a_cut_beside_every_flaw_finds_sound_metal_without_sizes() -> None:
    plan = CuttingPlan(wrong_label_share=0.0)
    cut = cut_at(seam(1, ()), at(250.0), Purpose.TARGETED, plan, "C1")
    assert cut.flaw is Flaw.SOUND
    assert cut.side is Side.NA
    assert np.isnan([cut.depth_mm, cut.length_mm, cut.width_mm]).all()


def test_a_real_flaw_is_found_before_the_droplet_beside_it() -> None:
    droplet = HiddenFlaw(Flaw.SOUND, "spatter", 103.5, 105.0, Side.TOP, 0.0, 1.0)
    plan = CuttingPlan(wrong_label_share=0.0)
    assert (
        cut_at(seam(1, (), (droplet, NOTCH)), at(104.0), Purpose.TARGETED, plan, "C").flaw is Flaw.EDGE_NOTCH
    )


def test_cuts_go_to_exceedances_first_and_to_random_places_too() -> None:
    high = [seam(i, (at(100.0, 1.5),)) for i in range(300)]
    low = [seam(1000 + i, (at(100.0, 0.5),)) for i in range(300)]
    cuts = choose_cuts([*high, *low], PLAN, 200, seed=1)
    assert len(cuts) == 200
    purposes = Counter(cut.purpose for cut in cuts)
    assert purposes[Purpose.TARGETED] == 172
    assert purposes[Purpose.RANDOM] == 20
    targeted = Counter(int(cut.seam_id[1:]) < 1000 for cut in cuts if cut.purpose is Purpose.TARGETED)
    assert targeted[True] > targeted[False]
    assert len({cut.section_id for cut in cuts}) == 200


def test_where_nothing_shows_nothing_is_cut() -> None:
    assert choose_cuts([seam(1, ())], PLAN, 50, seed=1) == ()


def test_excursions_are_measured_against_the_seam_s_own_median_and_the_limit() -> None:
    level, bump = np.full(601, 7.0, np.float32), np.zeros(601, np.float32)
    bump[300:310] = 10.0
    trace = SeamTrace(
        "S", START, "L1", "R", 0.0, 0.5, {"specular": level + bump, "scatter": np.zeros(601, np.float32)}
    )
    limits = RecipeLimits("R", {"specular": 17.0, "scatter": 6.0}, 15.0, 15.0, 9.4)
    (found,) = find_excursions(trace, limits, 0.25)
    assert (found.start_mm, found.end_mm) == (150.0, 154.5)
    assert found.of_limit == pytest.approx(1.0)
    assert not found.exceeds_limit
