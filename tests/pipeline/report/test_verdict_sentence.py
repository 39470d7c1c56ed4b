from __future__ import annotations

from seamtell.pipeline.evaluation.result import Estimate
from seamtell.pipeline.report.verdict_sentence import verdict_sentence

from .conftest import make_result


def test_a_model_that_beats_the_hand_rule_is_held_against_the_criteria():
    assert verdict_sentence(make_result(0.8, 0.6)).startswith("Hold m-0001 against your criteria")


def test_overlapping_intervals_ask_for_more_sections():
    assert verdict_sentence(make_result(0.65, 0.6)).startswith("Cut more sections before approving m-0001")


def test_a_model_worse_than_the_hand_rule_is_advised_against():
    assert verdict_sentence(make_result(0.4, 0.8)).startswith("Do not approve m-0001")


def test_the_sentence_carries_figure_interval_and_n():
    text = verdict_sentence(make_result(0.8, 0.6))
    assert "macro-F1 0.80 [0.76, 0.84] n = 30" in text
    assert "hand rule 0.60 [0.56, 0.64] n = 30" in text
    assert "12 % [2, 22] n = 30 of the indicated sections unclassified" in text
    assert "4 % [0, 14] n = 30 of the flaws" in text


def with_unknown(field: str, because: str) -> str:
    result = make_result()
    held_out = result.held_out.model_copy(update={field: Estimate(n=0, unknown=because)})
    return verdict_sentence(result.model_copy(update={"held_out": held_out}))


def test_a_model_without_a_figure_is_advised_against():
    text = with_unknown("macro_f1", "no flaw was cut")
    assert text.startswith("Do not approve m-0001: no flaw was cut; cut more sections")
    assert "macro-F1 unknown (no flaw was cut)" in text


def test_an_unknown_miss_rate_is_called_unknown_and_never_zero():
    text = with_unknown("missed", "nothing unflagged was cut")
    assert text.endswith("how many flaws have no indication is unknown (nothing unflagged was cut).")


def test_the_hand_rule_itself_is_not_compared_with_itself():
    text = verdict_sentence(make_result().model_copy(update={"candidate": "hand_rule"}))
    assert text.startswith("m-0001 is the hand rule itself")
    assert "(hand rule" not in text
