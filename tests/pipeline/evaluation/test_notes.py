"""What a reader is told in words."""

from __future__ import annotations

from seamtell.pipeline.evaluation.bootstrap import Plan
from seamtell.pipeline.evaluation.notes import evaluation_notes
from seamtell.pipeline.evaluation.result import Scope
from seamtell.pipeline.evaluation.scoring import score_scope


def _notes(sections, left_out=(), unused=0) -> str:
    scopes = [
        score_scope(scope, sections, chosen="prior", error_rate=0.1, plan=Plan(draws=50)) for scope in Scope
    ]
    return "\n".join(evaluation_notes(*scopes, left_out, unused))


def test_an_unknown_missed_share_is_said(cut, answered) -> None:
    text = _notes(answered(cut("pinhole", "pinhole")))
    assert "held out: the share of missed flaws is unknown: nothing unflagged was cut" in text


def test_a_purpose_without_unflagged_cuts_is_said(cut, answered) -> None:
    text = _notes(answered(cut("pinhole", "pinhole"), cut("sound", purpose="random")))
    assert "among targeted sections the share of missed flaws is unknown" in text


def test_few_sections_are_named_with_their_number(cut, answered) -> None:
    assert "few sections of pinhole (2)" in _notes(answered(*[cut("pinhole", "pinhole")] * 2))


def test_a_figure_too_good_to_be_true_is_noticed(cut, answered) -> None:
    good = _notes(answered(*[cut("pinhole", "pinhole"), cut("sound", "sound")] * 5))
    assert "better than these flaws allow" in good
    poor = _notes(answered(*[cut("pinhole", "sound"), cut("sound", "sound")] * 5))
    assert "better than these flaws allow" not in poor


def test_untaught_classes_unused_shared_and_left_out_sections_are_counted(cut, answered) -> None:
    text = _notes(
        answered(
            cut("pinhole", "pinhole", seam_id="A"),
            cut("pinhole", seam_id="A", shared_with=0),
            cut("sound", "sound", left_out="x"),
        ),
        left_out=("mismatch",),
        unused=3,
    )
    assert text.startswith("the model was not taught mismatch")
    assert "3 sections came after training" in text
    assert "1 section shares an indication" in text
    assert "1 sections cannot be judged" in text


def test_sections_of_a_plan_are_named_because_the_figures_count_them_once(cut, answered) -> None:
    text = _notes(answered(cut("pinhole", "pinhole", purpose="planned"), cut("sound", purpose="random")))
    assert "held out: 1 sections were planned, with a classifier's answers in view" in text
    assert "were planned" not in _notes(answered(cut("pinhole", "pinhole")))
