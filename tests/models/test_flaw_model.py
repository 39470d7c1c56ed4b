from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
import pytest

from seamtell.features.contracts import UNCLASSIFIED
from seamtell.features.errors import SeamtellError
from seamtell.models.flaw_model import decide_labels

NAN = float("nan")


def decide(p_values, *, probabilities=(0.9, 0.1), novelty_p=0.5, known=True):
    return decide_labels(
        classes=("pinhole", "sound"),
        probabilities=np.array([probabilities]),
        p_values=np.array([p_values]),
        novelty_p=np.array([novelty_p]),
        error_rate=0.1,
        novelty_threshold_p=0.01,
        recipe_known=np.array([known]),
    )


def test_the_single_member_of_the_set_is_the_label() -> None:
    answers = decide((0.6, 0.05))
    assert (answers.labels, answers.label_sets, answers.reasons) == (("pinhole",), (("pinhole",),), ("",))


@pytest.mark.parametrize(("p_values", "members"), [((0.6, 0.4), ("pinhole", "sound")), ((0.1, 0.05), ())])
def test_two_labels_or_none_are_ambiguous(p_values, members) -> None:
    answers = decide(p_values)
    assert (answers.labels, answers.label_sets, answers.reasons) == (
        (UNCLASSIFIED,),
        (members,),
        ("ambiguous",),
    )


def test_a_p_value_equal_to_the_error_rate_rules_the_label_out() -> None:
    assert decide((0.6, 0.1)).labels == ("pinhole",)


def test_a_novel_indication_gets_no_label() -> None:
    assert decide((0.6, 0.05), novelty_p=0.009).reasons == ("novel",)
    assert decide((0.6, 0.05), novelty_p=0.01).reasons == ("",)


def test_an_unknown_recipe_comes_before_every_other_reason() -> None:
    answers = decide((NAN, NAN), probabilities=(NAN, NAN), novelty_p=0.001, known=False)
    assert answers.reasons == ("recipe_outside_domain",)
    assert answers.label_sets == ((),)


def test_a_missing_probability_is_a_descriptor_that_is_no_number() -> None:
    assert decide((NAN, NAN), probabilities=(NAN, NAN), novelty_p=NAN).reasons == ("non_finite_descriptor",)


def test_training_sections_of_known_recipes_are_answered(shop_result, shop_table) -> None:
    answers = shop_result.model.answer(shop_table.values, shop_table.recipes.tolist())
    assert answers.probabilities.sum(axis=1) == pytest.approx(1)
    assert set(answers.labels) == {*shop_result.model.classes, UNCLASSIFIED}


def test_a_recipe_that_was_not_trained_gets_no_label_and_no_probability(shop_result, shop_table) -> None:
    answers = shop_result.model.answer(shop_table.values[:2], ["R1", "R9"])
    assert answers.reasons[1] == "recipe_outside_domain"
    assert np.isnan(answers.probabilities).all(axis=1).tolist() == [False, True]


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
def test_one_bad_descriptor_silences_its_own_row_only(shop_result, shop_table, bad: float) -> None:
    clean = shop_result.model.answer(shop_table.values, shop_table.recipes.tolist())
    values = shop_table.values.copy()
    values[4, 2] = bad
    answers = shop_result.model.answer(values, shop_table.recipes.tolist())
    assert answers.reasons[4] == "non_finite_descriptor"
    others = np.arange(len(values)) != 4
    assert (answers.probabilities[others] == clean.probabilities[others]).all()


def test_a_gross_outlier_is_novel(shop_result) -> None:
    answers = shop_result.model.answer(np.array([[500.0, 1.0, 0.2, 0.1, 0.0]]), ["R1"])
    assert answers.reasons == ("novel",)


def test_absurdly_large_descriptors_are_answered_without_a_label(shop_result) -> None:
    answers = shop_result.model.answer(np.tile([1e308, -1e308, 1e308, 1e308, -1e308], (3, 1)), ["R1"] * 3)
    assert answers.labels == (UNCLASSIFIED,) * 3


def test_no_indications_give_no_answers(shop_result) -> None:
    answers = shop_result.model.answer(np.empty((0, 5)), [])
    assert len(answers) == 0
    assert answers.probabilities.shape == (0, 5)


def test_another_number_of_descriptors_or_recipes_is_refused(shop_result) -> None:
    with pytest.raises(SeamtellError, match=r"got descriptors of shape \(2, 4\), expected \(n, 5\)"):
        shop_result.model.answer(np.zeros((2, 4)), ["R1", "R1"])
    with pytest.raises(SeamtellError, match="got 1 recipes, expected one for each of 2"):
        shop_result.model.answer(np.zeros((2, 5)), ["R1"])


def test_each_candidate_can_be_asked_by_name(shop_result, shop_table) -> None:
    for name in ("prior", "hand_rule", "logistic", "lightgbm"):
        assert shop_result.model.candidate_probabilities(name, shop_table.values).shape == (
            len(shop_table),
            5,
        )
    with pytest.raises(SeamtellError, match="got the candidate 'forest'"):
        shop_result.model.candidate_probabilities("forest", shop_table.values)


@pytest.mark.parametrize("chosen", ["logistic", "lightgbm", "hand_rule", "prior"])
@pytest.mark.parametrize("size", [1, 3, 32, 50])
def test_an_answer_has_the_same_bits_in_any_batch(shop_result, shop_table, chosen: str, size: int) -> None:
    model = shop_result.model
    model = replace(model, card=model.card.model_copy(update={"chosen": chosen}))
    values = shop_table.values.copy()
    values[7, 1], values[20] = np.nan, 1e308
    recipes = shop_table.recipes.tolist()
    recipes[11] = "R9"
    whole = model.answer(values, recipes)
    parts = [model.answer(values[i : i + size], recipes[i : i + size]) for i in range(0, len(values), size)]
    for name in ("probabilities", "codes", "sets", "novelty_p", "reason_codes"):
        joined = np.concatenate([getattr(part, name) for part in parts])
        assert np.array_equal(joined, getattr(whole, name), equal_nan=joined.dtype == float), name
    with ThreadPoolExecutor(4) as pool:
        told = list(pool.map(lambda _: model.answer(values, recipes), range(8)))
    assert all(np.array_equal(one.probabilities, whole.probabilities, equal_nan=True) for one in told)
