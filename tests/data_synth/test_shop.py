import itertools
from collections import Counter
from dataclasses import replace
from datetime import timedelta
from multiprocessing.reduction import ForkingPickler

import numpy as np
import pytest

from seamtell.data_synth.head import Head
from seamtell.data_synth.nuisances import Nuisances
from seamtell.data_synth.seam_plan import SeamPlan, plan_seam
from seamtell.data_synth.shop import InventedSeam, invent_seam, invent_shop, simulate_sections
from seamtell.data_synth.shop_plan import ShopPlan
from seamtell.features.contracts import CHANNELS, Flaw
from seamtell.features.errors import SeamtellError

PLAN = ShopPlan()


def same(one: InventedSeam, other: InventedSeam) -> bool:
    amplitudes = all(
        np.array_equal(one.trace.amplitudes_pct[name], other.trace.amplitudes_pct[name]) for name in CHANNELS
    )
    return amplitudes and one.flaws == other.flaws and one.trace.coil == other.trace.coil


def test_the_same_seed_invents_the_same_shop() -> None:
    for one, other in zip(invent_shop(6, 3).seams(), invent_shop(6, 3).seams(), strict=True):
        assert same(one, other)


def test_another_seed_invents_another_shop() -> None:
    assert not same(invent_shop(6, 3).seam(0), invent_shop(6, 4).seam(0))


def test_a_seam_depends_on_no_other() -> None:
    in_turn = list(invent_shop(6, 3).seams())
    assert same(in_turn[4], invent_seam(PLAN, 3, 4, 6))


def test_plan_and_seam_survive_the_way_to_another_process() -> None:
    made = invent_seam(PLAN, 3, 4, 6)
    plan, sent = ForkingPickler.loads(ForkingPickler.dumps((PLAN, made)))
    assert same(sent, made)
    assert same(invent_seam(plan, 3, 4, 6), made)


@pytest.mark.parametrize(("n_seams", "seed"), [(0, 1), (5, -1)])
def test_impossible_shops_are_refused(n_seams: int, seed: int) -> None:
    with pytest.raises(SeamtellError, match="expected at least one seam"):
        invent_shop(n_seams, seed)


@pytest.fixture(scope="module")
def planned() -> list[SeamPlan]:
    return [plan_seam(PLAN, 1, index, 3000) for index in range(3000)]


def test_six_months_pass_and_one_recipe_comes_only_in_the_last(planned: list[SeamPlan]) -> None:
    seams = planned
    assert seams[-1].welded_at - seams[0].welded_at > timedelta(days=175)
    times = [seam.welded_at for seam in seams]
    assert times == sorted(times)
    late = [seam for seam in seams if seam.recipe.name == "MB-1210"]
    assert len(late) > 50
    assert min(seam.welded_at for seam in late) >= PLAN.start + timedelta(days=151)


def test_a_third_of_the_seams_is_flawed(planned: list[SeamPlan]) -> None:
    share = np.mean([any(flaw.label is not Flaw.SOUND for flaw in seam.flaws) for seam in planned])
    assert 0.25 < share < 0.40


def test_flaw_mix_changes_over_the_months(planned: list[SeamPlan]) -> None:
    counts = Counter((seam.month, flaw.label) for seam in planned for flaw in seam.flaws)
    assert counts[(2, Flaw.PINHOLE)] > 1.3 * counts[(5, Flaw.PINHOLE)]
    assert counts[(5, Flaw.MISMATCH)] > 1.3 * counts[(0, Flaw.MISMATCH)]


def test_all_seams_of_a_coil_share_line_recipe_and_shift(planned: list[SeamPlan]) -> None:
    seams = planned
    kinds = {(seam.coil, seam.line.name, seam.recipe.name, seam.shift) for seam in seams}
    assert len(kinds) == len({seam.coil for seam in seams})


def test_true_flaws_of_a_seam_do_not_lie_in_each_other(planned: list[SeamPlan]) -> None:
    for seam in planned:
        real = sorted((f for f in seam.flaws if f.label is not Flaw.SOUND), key=lambda f: f.start_mm)
        assert all(b.start_mm > a.start_mm for a, b in itertools.pairwise(real))
        assert all(f.start_mm > 0 and f.end_mm < seam.length_mm for f in seam.flaws)


def test_head_wear_lowers_the_gain_until_the_head_is_changed() -> None:
    line = PLAN.lines[1]
    gains = [line.gain_after(week)["specular"] for week in (0, 10, line.head_changed_in_week)]
    assert gains[1] < gains[0] - 1.0
    assert gains[2] == pytest.approx(gains[0] + line.new_head_step_db["specular"])


def test_a_fresh_head_has_a_beam_of_its_own() -> None:
    line = PLAN.lines[0]
    old, new = (line.head_after(week) for week in (line.head_changed_in_week - 1, line.head_changed_in_week))
    assert old == line.head
    assert new.aperture_sd_mm != old.aperture_sd_mm
    assert replace(line, new_head=None).head_after(25) == line.head


def test_no_head_of_the_shop_is_the_drawing_s() -> None:
    heads = [head for line in PLAN.lines for head in (line.head, line.new_head)]
    assert len({head.aperture_sd_mm for head in heads}) == len(heads)
    assert Head() not in heads


def test_attenuation_is_one_figure_a_coil_and_spreads_as_stated(planned: list[SeamPlan]) -> None:
    by_coil = {seam.coil: seam.attenuation_db_per_mm for seam in planned}
    assert all(by_coil[seam.coil] == seam.attenuation_db_per_mm for seam in planned)
    assert np.std(list(by_coil.values())) == pytest.approx(Nuisances().coil_attenuation.sd_db_per_mm, rel=0.2)


def test_switched_off_nuisances_leave_no_false_indications_planned() -> None:
    calm = replace(PLAN, nuisances=Nuisances.none())
    seams = [plan_seam(calm, 1, index, 300) for index in range(300)]
    assert all(flaw.label is not Flaw.SOUND for seam in seams for flaw in seam.flaws)
    assert all(seam.attenuation_db_per_mm == 0 for seam in seams)


def test_the_trace_tells_nothing_of_the_truth() -> None:
    trace = invent_shop(3, 1).seam(0).trace
    assert dict(trace.extra) == {}
    assert set(trace.amplitudes_pct) == set(CHANNELS)


def test_simulated_sections_are_the_same_in_one_part_or_two() -> None:
    whole = {cut.section_id: cut for seam in simulate_sections(PLAN, 9, 60) for cut in seam.cuts}
    parts = {
        cut.section_id: cut
        for part in range(2)
        for seam in simulate_sections(PLAN, 9, 60, part, 2)
        for cut in seam.cuts
    }
    assert len(whole) > 10
    assert repr(sorted(whole.items())) == repr(sorted(parts.items()))
