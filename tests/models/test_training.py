from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import binom

from seamtell.features.contracts import UNCLASSIFIED
from seamtell.features.errors import SeamtellError
from seamtell.models.splits import assert_no_leak
from seamtell.models.training import TrainingPlan, TrainingResult, train_flaw_model


def test_all_candidates_are_in_the_table_and_one_is_chosen(shop_result: TrainingResult) -> None:
    assert [row.name for row in shop_result.candidate_table] == ["prior", "hand_rule", "logistic", "lightgbm"]
    chosen = [row.name for row in shop_result.candidate_table if row.chosen]
    assert chosen == [shop_result.model.card.chosen]


def test_where_the_truth_is_linear_the_logistic_candidate_is_chosen(shop_result: TrainingResult) -> None:
    # Normal clouds of one covariance: Fisher's linear discriminant is the best there is.
    assert shop_result.model.card.chosen == "logistic"


def test_rows_of_everything_belong_together(shop_result: TrainingResult, shop_table) -> None:
    n = len(shop_table)
    assert shop_result.section_ids == shop_table.section_ids
    assert (shop_result.truths == shop_table.truths).all()
    assert all(p.shape == (n, 5) for p in shop_result.out_of_fold.values())
    assert len(shop_result.out_of_fold_answers) == n
    for fold in np.unique(shop_result.folds):
        here = shop_result.folds == fold
        assert_no_leak(shop_table.groups[~here], shop_table.groups[here])


def test_out_of_fold_sets_cover_every_class_as_promised(shop_result: TrainingResult) -> None:
    sets = shop_result.out_of_fold_answers.label_sets
    for label in shop_result.model.classes:
        rows = np.flatnonzero(shop_result.truths == label)
        missed = sum(label not in sets[i] for i in rows)
        assert missed <= binom.ppf(0.999, len(rows), 0.1)


def test_the_final_sets_cover_new_sections_and_errors_stay_rare(shop_result: TrainingResult, shop) -> None:
    fresh = shop(dict.fromkeys(shop_result.model.classes, 500), seed=77)
    answers = shop_result.model.answer(fresh.values, fresh.recipes.tolist())
    for label in shop_result.model.classes:
        rows = np.flatnonzero(fresh.truths == label)
        missed = np.mean([label not in answers.label_sets[i] for i in rows])
        # The calibration sample is one draw of n_c scores: the coverage it gives varies as a beta
        # distribution around the guarantee (Vovk 2012); 0.1 + 4 standard deviations at n_c = 20.
        assert missed < 0.1 + 4 * np.sqrt(0.1 * 0.9 / 20)
    labelled = [
        (a, t) for a, t in zip(answers.labels, fresh.truths.tolist(), strict=True) if a != UNCLASSIFIED
    ]
    assert len(labelled) > 0.4 * len(fresh)
    assert np.mean([a != t for a, t in labelled]) < 0.15


def test_calibrated_probabilities_keep_their_promise_on_new_sections(
    shop_result: TrainingResult, shop
) -> None:
    counts = dict(zip(shop_result.model.classes, (400, 400, 350, 200, 250), strict=True))
    fresh = shop(counts, seed=78)  # the training mix, ten times
    probabilities = shop_result.model.answer(fresh.values, fresh.recipes.tolist()).probabilities
    sure = probabilities.max(axis=1)
    right = np.array(shop_result.model.classes)[probabilities.argmax(axis=1)] == fresh.truths
    bins = np.digitize(sure, [0.5, 0.6, 0.7, 0.8, 0.9])
    gaps = [
        abs((right[bins == b].mean() - sure[bins == b].mean()) * (bins == b).mean()) for b in np.unique(bins)
    ]
    assert sum(gaps) < 0.04  # expected calibration error


def test_eight_sections_of_each_class_are_enough(shop) -> None:
    table = shop(dict.fromkeys(("pinhole", "lack_of_fusion", "sound"), 8), sizes=False)
    result = train_flaw_model(table, TrainingPlan())
    assert result.model.card.sections_per_class == (8, 8, 8)
    assert any("only 8 sections of pinhole: at an error rate of 0.1" in w for w in result.warnings)
    assert any("only 24 sections: too few for a novelty p-value" in w for w in result.warnings)
    assert result.model.card.novelty_threshold_p == pytest.approx(1.5 / 25)


def test_two_classes_are_enough(shop, quick_plan: TrainingPlan) -> None:
    result = train_flaw_model(shop({"pinhole": 12, "mismatch": 12}), quick_plan)
    assert result.model.classes == ("pinhole", "mismatch")


def test_a_scarce_class_is_named_in_a_warning(shop, quick_plan: TrainingPlan) -> None:
    result = train_flaw_model(shop({"pinhole": 40, "mismatch": 9, "sound": 5}), quick_plan)
    assert "only 9 sections of mismatch: its intervals will be wide" in result.warnings
    assert result.left_out_classes == ("sound",)
    assert any(w.startswith("sound is left out: fewer than 8 sections") for w in result.warnings)
    assert not any("pinhole" in w for w in result.warnings)


def test_fewer_folds_than_planned_are_named_in_a_warning(shop, quick_plan: TrainingPlan) -> None:
    table = shop({"pinhole": 40, "sound": 40}, per_coil=20)
    result = train_flaw_model(table, replace(quick_plan, folds=9))
    assert result.model.card.folds == 4
    assert any(w.startswith("4 folds instead of 9") for w in result.warnings)


def test_sections_that_tell_nothing_leave_the_prior_chosen_and_a_warning(
    shop, quick_plan: TrainingPlan
) -> None:
    table = shop({"pinhole": 30, "sound": 30})
    noise = np.random.default_rng(0).normal(size=table.values.shape)
    result = train_flaw_model(replace(table, values=noise), quick_plan)
    assert result.model.card.chosen == "prior"
    assert any("no candidate is clearly better than the prior" in w for w in result.warnings)


def test_a_candidate_that_fails_on_unseen_sizes_is_named_in_a_warning() -> None:
    from seamtell.models.scoring import CandidateScore
    from seamtell.models.training_warnings import _choice

    logistic = CandidateScore("logistic", 0.5, 0.02, 0.8, False, 0.6, 0.7)
    trees = CandidateScore("lightgbm", 0.4, 0.02, 0.8, True, 0.9, 0.5)
    assert "on flaw sizes it had not seen logistic does better" in _choice((logistic, trees))[0]
    assert _choice((logistic, replace(trees, size_band_log_loss=0.5))) == []


def test_one_class_alone_is_refused_with_what_is_missing(shop, quick_plan: TrainingPlan) -> None:
    with pytest.raises(SeamtellError, match="mismatch has 3 of 8 sections; pinhole has enough"):
        train_flaw_model(shop({"pinhole": 20, "mismatch": 3}), quick_plan)


def test_the_card_states_domain_sections_and_digest(shop_result: TrainingResult, shop_table) -> None:
    card = shop_result.model.card
    assert card.domain.recipes == ("R1", "R2")
    assert card.domain.ranges[0].low == shop_table.values[:, 0].min()
    assert card.training_section_ids == shop_table.section_ids
    assert card.data_digest == shop_table.digest()
    assert card.schema_digest == shop_table.schema_digest


def test_data_from_outside_train_a_model_that_beats_the_prior(public_table) -> None:
    plan = TrainingPlan(candidates=("prior", "logistic", "lightgbm"), folds=3)
    prior, logistic, trees = train_flaw_model(public_table, plan).candidate_table
    assert max(logistic.log_loss, trees.log_loss) < 0.4 * prior.log_loss
    assert min(logistic.macro_f1, trees.macro_f1) > 0.9
