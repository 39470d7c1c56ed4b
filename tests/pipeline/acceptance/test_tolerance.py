"""Figures over the tolerance: hand-made seams, and the evaluation's own figures at the one in use."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from seamtell.features.contracts import UNCLASSIFIED
from seamtell.models.answers import Answers
from seamtell.pipeline.acceptance.tolerance import (
    TOLERANCES_MM,
    AnsweredIndications,
    tolerance_curve,
    tolerance_curves,
)
from seamtell.pipeline.evaluation.answered import answer_sections
from seamtell.pipeline.evaluation.bootstrap import Plan
from seamtell.pipeline.evaluation.intervals import share
from seamtell.pipeline.evaluation.matching import match_sections
from seamtell.pipeline.evaluation.result import Scope
from seamtell.pipeline.evaluation.scoring import score_scope

CLASSES = ("pinhole", "edge_notch", "lack_of_fusion", "mismatch", "sound")
PLAN = Plan(draws=100)


def answers(*labels: str) -> Answers:
    probabilities = np.full((len(labels), 5), 0.025)
    for row, label in enumerate(labels):
        probabilities[row, CLASSES.index(label) if label in CLASSES else 0] = 0.9
    return Answers.of_names(
        classes=CLASSES,
        probabilities=probabilities,
        labels=tuple(labels),
        label_sets=tuple((label,) if label in CLASSES else () for label in labels),
        novelty_p=np.full(len(labels), 0.5),
        reasons=tuple("" if label in CLASSES else "ambiguous" for label in labels),
    )


def sections(*rows: tuple[str, float, str]) -> pd.DataFrame:
    """Seam, position and flaw of each section."""
    return pd.DataFrame(
        {
            "section_id": [f"C{i:02d}" for i in range(len(rows))],
            "seam_id": [row[0] for row in rows],
            "position_mm": [row[1] for row in rows],
            "position_tol_mm": 0.0,
            "flaw": [row[2] for row in rows],
            "purpose": "random",
        }
    )


def answered(*rows: tuple[str, float, float, str]) -> AnsweredIndications:
    """Seam, first and last position and answer of each indication."""
    frame = pd.DataFrame([row[:3] for row in rows], columns=["seam_id", "start_mm", "end_mm"])
    frame["indication"] = frame.groupby("seam_id").cumcount()
    frame["peak_mm"] = (frame["start_mm"] + frame["end_mm"]) / 2
    return AnsweredIndications(frame, answers(*(row[3] for row in rows)))


def seams(*names: str) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "seam_id": names,
            "welded_at": pd.Timestamp("2026-03-01T08:00:00Z"),
            "coil": [f"k{name}" for name in names],
            "recipe": "R1",
        }
    )


def curves(*arguments, **options):
    made = tolerance_curves(*arguments, in_use_mm=2.0, plan=PLAN, **options)
    return {curve.name: curve for curve in made}


def points(curve) -> dict[float, float | None]:
    return {point.extra_tolerance_mm: point.figure.estimate for point in curve.figures}


# One section lies 1.2 mm beside its indication, one 2.7 mm, one in it.
CASE = (
    sections(("A", 11.2, "pinhole"), ("B", 12.7, "edge_notch"), ("C", 5.0, "mismatch")),
    answered(("A", 5.0, 10.0, "pinhole"), ("B", 5.0, 10.0, "edge_notch"), ("C", 1.0, 9.0, "mismatch")),
    seams("A", "B", "C"),
)


def test_sections_meet_indications_as_the_tolerance_grows() -> None:
    # By hand: within reach are C always, A from 1.2 mm on, B from 2.7 mm on.
    found = curves(*CASE)
    assert points(found["matched"]) == pytest.approx(
        {0.5: 1 / 3, 1.0: 1 / 3, 1.5: 2 / 3, 2.0: 2 / 3, 2.5: 2 / 3, 3.0: 1.0}
    )
    assert points(found["recall pinhole"]) == {0.5: 0.0, 1.0: 0.0, 1.5: 1.0, 2.0: 1.0, 2.5: 1.0, 3.0: 1.0}
    assert points(found["macro_f1"])[3.0] == 1.0
    assert points(found["macro_f1"])[0.5] == pytest.approx(1 / 3)


def test_the_miss_rate_is_unknown_where_every_section_meets_an_indication() -> None:
    missed = curves(*CASE)["missed"]
    assert points(missed)[0.5] == pytest.approx(2 / 3)
    assert points(missed)[3.0] is None
    assert missed.figures[-1].figure.unknown == "nothing unflagged was cut"


def test_a_wider_tolerance_can_meet_another_indication_with_its_own_answer() -> None:
    found = curves(
        sections(("A", 12.0, "sound")),
        answered(("A", 1.0, 4.0, "pinhole"), ("A", 14.5, 20.0, "sound")),
        seams("A"),
    )
    assert points(found["recall sound"]) == {0.5: None, 1.0: None, 1.5: None, 2.0: None, 2.5: 1.0, 3.0: 1.0}


def test_the_tolerance_in_use_is_always_among_the_points() -> None:
    made = tolerance_curve("x", 1.7, lambda extra: share(int(extra * 10), 100))
    assert [point.extra_tolerance_mm for point in made.figures] == sorted({*TOLERANCES_MM, 1.7})
    assert made.in_use_mm == 1.7
    assert points(made)[1.7] == 0.17


def test_sections_that_cannot_be_judged_stay_out_at_every_tolerance() -> None:
    found = curves(*CASE, left_out={"C02": "conflicting_traces"})
    assert {point.figure.n for point in found["matched"].figures} == {2}
    assert all(value is None for value in points(found["recall mismatch"]).values())


def test_abstentions_and_forced_labels_are_told_apart() -> None:
    made, found, place = CASE
    shy = AnsweredIndications(
        found.indications,
        answers(UNCLASSIFIED, "edge_notch", "mismatch"),
        forced=found.answers.probabilities,
    )
    shown = curves(made, shy, place)
    assert points(shown["abstained"])[3.0] == pytest.approx(1 / 3)
    assert points(shown["recall pinhole"])[3.0] == 0.0
    assert points(shown["macro_f1"])[3.0] == 1.0


def test_seams_without_any_indication_are_all_missed() -> None:
    found = curves(CASE[0], answered(), CASE[2])
    assert set(points(found["missed"]).values()) == {1.0}


def test_the_order_of_the_indications_does_not_matter() -> None:
    made, found, place = CASE
    turned = AnsweredIndications(
        found.indications.iloc[::-1].reset_index(drop=True), answers("mismatch", "edge_notch", "pinhole")
    )
    assert curves(made, turned, place) == curves(made, found, place)


def test_answers_that_do_not_fit_the_indications_are_refused() -> None:
    found = CASE[1]
    with pytest.raises(ValueError, match="got 1 answers for 3 indications"):
        AnsweredIndications(found.indications, answers("pinhole"))
    with pytest.raises(ValueError, match="forced probabilities of shape"):
        AnsweredIndications(found.indications, found.answers, forced=np.zeros((3, 2)))


def test_at_the_tolerance_in_use_the_figures_are_those_of_the_evaluation() -> None:
    rng = np.random.default_rng(8)
    names = [f"S{i:02d}" for i in range(60)]
    made = sections(*((name, rng.uniform(5, 15), str(rng.choice(CLASSES))) for name in names))
    found = answered(*((name, 8.0, 11.0, str(rng.choice([*CLASSES, UNCLASSIFIED]))) for name in names))
    place = seams(*names)
    matched = match_sections(made, found.indications, 2.0, seams=place)
    matched = matched.assign(start_mm=8.0, end_mm=11.0, left_out="")
    met = np.flatnonzero(matched["matched"])  # one section and one indication a seam, in the same order
    told = answers(*(found.answers.labels[i] for i in met))
    evaluated = answer_sections(
        Scope.HELD_OUT, matched, told, {"chosen": told.probabilities}, np.zeros(len(matched), dtype=bool)
    )
    expected = score_scope(Scope.HELD_OUT, evaluated, chosen="chosen", error_rate=0.1, plan=PLAN)
    assert 10 < len(met) < 55
    figures = {
        name: next(p.figure for p in curve.figures if p.extra_tolerance_mm == 2.0)
        for name, curve in curves(made, found, place).items()
    }
    assert figures["macro_f1"] == expected.macro_f1
    assert figures["missed"] == expected.missed
    assert figures["abstained"] == expected.abstention
    for of_class in expected.per_class:
        assert figures[f"recall {of_class.label}"] == of_class.recall
