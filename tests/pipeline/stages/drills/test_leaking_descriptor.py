"""A descriptor that knows the answer must be noticed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from seamtell.models.answers import Answers
from seamtell.models.labelled_table import LabelledTable
from seamtell.pipeline.acceptance.evidence import AcceptanceEvidence, ProductionSample, TaughtTable
from seamtell.pipeline.acceptance.suspicions import suspicions
from seamtell.pipeline.acceptance.tolerance import AnsweredIndications
from seamtell.pipeline.evaluation.bootstrap import Plan
from seamtell.pipeline.evaluation.result import Scope


def _evidence(judged) -> AcceptanceEvidence:
    taught, nothing = judged.taught, pd.DataFrame()
    empty = np.empty((0, len(judged.result.classes)))
    no_answers = Answers.of_names(judged.result.classes, empty, (), (), np.empty(0), ())
    return AcceptanceEvidence(
        result=judged.result,
        evaluation_digest="",
        held_out=judged.told[Scope.HELD_OUT],
        cross_validated=judged.told[Scope.CROSS_VALIDATED],
        sections=nothing,
        seams=nothing,
        indications=nothing,
        taught=TaughtTable(taught.values, taught.names, taught.truths, taught.groups),
        answered=AnsweredIndications(nothing, no_answers),
        production=ProductionSample(nothing, nothing),
        extra_tolerance_mm=2.0,
        plan=Plan(draws=200),
    )


@pytest.fixture
def blurred(shop_table: LabelledTable) -> LabelledTable:
    """The same sections with so much noise that the classes overlap, as they do in a real shop."""
    rng = np.random.default_rng(5)
    values = shop_table.values
    return replace(shop_table, values=values + values.std(axis=0) * rng.normal(size=values.shape))


def test_an_honest_model_raises_no_warning(blurred, judge) -> None:
    # Without this the drill below could not fail.
    assert suspicions(_evidence(judge(blurred))) == ()


def test_a_descriptor_equal_to_the_label_is_named(blurred, judge) -> None:
    classes = np.unique(blurred.truths).tolist()
    answer = np.array([[float(classes.index(truth))] for truth in blurred.truths])
    warnings = suspicions(_evidence(judge(_with(blurred, answer, ("reinspection_code",)))))
    assert any("'reinspection_code' alone tells all classes apart" in words for words in warnings)


def test_a_model_that_reads_the_answer_is_called_too_good(blurred, judge) -> None:
    classes = np.unique(blurred.truths)
    answers = (blurred.truths[:, None] == classes[None, :]).astype(float)
    names = tuple(f"reinspected_as_{label}" for label in classes)
    warnings = suspicions(_evidence(judge(_with(blurred, answers, names))))
    for where in ("held out", "cross-validated"):
        assert any(words.startswith(where) and "better than these flaws allow" in words for words in warnings)
    for name, label in zip(names, classes, strict=True):
        assert any(f"'{name}' alone tells {label} from all other classes" in words for words in warnings)


def _with(table: LabelledTable, values: np.ndarray, names: tuple[str, ...]) -> LabelledTable:
    return replace(table, values=np.hstack([table.values, values]), names=(*table.names, *names))
