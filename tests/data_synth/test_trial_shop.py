from collections import Counter

import numpy as np

from seamtell.data_synth.seam_plan import plan_seam
from seamtell.data_synth.shop import invent_seam
from seamtell.data_synth.shop_plan import ShopPlan
from seamtell.data_synth.trial_shop import trial_shop_plan
from seamtell.data_synth.validity import check_head, check_joint
from seamtell.features.contracts import Flaw
from seamtell.features.describer import analyse_seam

TRIAL, DEMO = trial_shop_plan(), ShopPlan()


def test_heads_joints_and_gains_are_not_the_demo_shop_s() -> None:
    def heads(plan: ShopPlan) -> set[tuple[float, float]]:
        return {(line.head.aperture_sd_mm, line.head.stand_off_mm) for line in plan.lines}

    assert not heads(TRIAL) & heads(DEMO)
    assert not {recipe.joint for recipe in TRIAL.recipes} & {recipe.joint for recipe in DEMO.recipes}
    gains = [{tuple(sorted(line.gain_db.items())) for line in plan.lines} for plan in (TRIAL, DEMO)]
    assert not gains[0] & gains[1]


def test_the_theory_can_answer_for_every_head_and_joint() -> None:
    for line in TRIAL.lines:
        for head in {line.head, line.new_head or line.head}:
            check_head(head)
            for recipe in TRIAL.recipes:
                check_joint(recipe.joint, head)


def test_every_class_and_every_false_cause_comes_often() -> None:
    seams = [plan_seam(TRIAL, 5, index, 400) for index in range(400)]
    counts = Counter(flaw.cause for seam in seams for flaw in seam.flaws)
    assert all(counts[flaw.value] > 50 for flaw in Flaw if flaw is not Flaw.SOUND)
    assert min(counts["spatter"], counts["lift_off"], counts["rough_bead"]) > 20
    assert {seam.recipe.name for seam in seams} == {"TB-1613", "TB-2016"}


def test_sound_seams_stay_below_the_limits() -> None:
    limits = {recipe.name: recipe.limits() for recipe in TRIAL.recipes}
    numbers = [index for index in range(30) if not plan_seam(TRIAL, 4, index, 30).flaws]
    assert len(numbers) >= 5
    for seam in (invent_seam(TRIAL, 4, index, 30) for index in numbers):
        analysis = analyse_seam(seam.trace, limits[seam.trace.recipe])
        assert not any(one.exceeds_limit for one in analysis.indications)
        assert np.median(seam.trace.amplitudes_pct["scatter"]) < 1.0
