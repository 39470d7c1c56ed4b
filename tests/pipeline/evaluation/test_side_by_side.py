"""Candidates and the limit rule on the same sections."""

from __future__ import annotations

import numpy as np
import pytest
from sklearn.metrics import f1_score

from seamtell.pipeline.evaluation.bootstrap import Plan
from seamtell.pipeline.evaluation.side_by_side import candidate_figures, forced_agreement, limit_rule_figures

QUICK = Plan(draws=50)
CLASSES = ("pinhole", "edge_notch", "lack_of_fusion", "mismatch", "sound")


def test_macro_f1_counts_a_missed_flaw_and_leaves_quiet_sound_seam_out(cut, answered) -> None:
    # Outside reference: sklearn.metrics.f1_score on the rows that the convention names.
    rng = np.random.default_rng(13)
    cuts = [
        cut(str(rng.choice(CLASSES)), str(rng.choice([*CLASSES, ""])), coil=f"K{i % 9}") for i in range(120)
    ]
    sections = answered(*cuts)
    rows = [one for one in cuts if one.answer or one.truth != "sound"]
    expected = f1_score(
        [one.truth for one in rows],
        [one.answer or "missed" for one in rows],
        labels=list(CLASSES),
        average="macro",
        zero_division=0,
    )
    figure = forced_agreement(sections, sections.probabilities, QUICK).macro_f1
    assert figure.estimate == pytest.approx(expected)
    assert figure.n == len(rows)


def test_abstaining_does_not_change_the_forced_figures(cut, answered) -> None:
    spoken = answered(cut("pinhole", "pinhole"), cut("sound", "sound"))
    silent = answered(
        cut("pinhole", "unclassified", top="pinhole"), cut("sound", "unclassified", top="sound")
    )
    figures = [forced_agreement(one, one.probabilities, QUICK).macro_f1.estimate for one in (spoken, silent)]
    assert figures == [1.0, 1.0]


def test_every_candidate_is_listed_and_the_chosen_one_marked(cut, answered) -> None:
    sections = answered(cut("pinhole", "pinhole"), cut("sound", "sound"))
    (only,) = candidate_figures(sections, "prior", QUICK)
    assert (only.name, only.chosen) == ("prior", True)
    assert only.log_loss.estimate == pytest.approx(-np.log(0.9))


def test_the_limit_rule_detects_and_never_names(cut, answered) -> None:
    figures = limit_rule_figures(
        answered(
            cut("pinhole", "pinhole", exceeds=True),
            cut("pinhole", "sound"),
            cut("mismatch", exceeds=True),
            cut("sound", "sound", exceeds=True),
            cut("sound"),
        )
    )
    assert (figures.detections.count, figures.detections.n) == (2, 3)
    assert (figures.false_calls.count, figures.false_calls.n) == (1, 2)
    assert figures.unlabelled == 3
    assert {one.label: one.detected.count for one in figures.by_class}["pinhole"] == 1
