"""Suspension takes labels away and nothing else: no verdict becomes milder than the limit rule's."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seamtell.features.contracts import Flaw, RecipeLimits, SeamTrace
from seamtell.features.descriptors import registry
from seamtell.features.trace_batch import TraceBatch
from seamtell.models.answers import NO_CODE, Answers, reason_code
from seamtell.models.reasons import Reason
from seamtell.pipeline.decisions.decided_batch import DecidedBatch
from seamtell.pipeline.decisions.decider import Decider
from seamtell.pipeline.decisions.trusted_model import TrustedModel
from seamtell.pipeline.limits_file import Limits
from seamtell.pipeline.settings import ReviewSettings, Settings, indication_settings

from .conftest import START

SEAMS = 24
CLASSES = tuple(flaw.value for flaw in Flaw)
CODES = [NO_CODE, *(reason_code(r) for r in (Reason.REFERENCE_CHECK_FAILED, Reason.DRIFT_ALARM))]


@dataclass(frozen=True)
class OneLabel:
    """Answers everything with one label, surely."""

    label: str
    classes: tuple[str, ...] = CLASSES

    def answer(self, values, recipes) -> Answers:
        n, code = len(values), CLASSES.index(self.label)
        chosen = np.arange(5) == code
        return Answers(
            CLASSES, np.tile(chosen.astype(float), (n, 1)), np.full(n, code, np.int16),
            np.tile(chosen, (n, 1)), np.full(n, 0.5), np.full(n, NO_CODE, np.int8),
        )  # fmt: skip


@cache
def batch() -> TraceBatch:
    rng = np.random.default_rng(5)
    x = np.arange(0.0, 300.0, 0.5)
    traces = []
    for i in range(SEAMS):
        hump = np.exp(-(((x - rng.uniform(60, 240)) / 4.0) ** 2)) * rng.choice([0.0, 12.0, 40.0])
        values = {
            "specular": (5 + hump + rng.normal(0, 0.2, len(x))).astype(np.float32),
            "scatter": np.abs(0.4 * hump + rng.normal(0, 0.2, len(x))).astype(np.float32),
        }
        traces.append(SeamTrace(f"S{i}", START, "L1", "R1", 0.0, 0.5, values))
    return TraceBatch.of_traces(traces)


def decided(label: str | None, suspended: np.ndarray | None) -> DecidedBatch:
    rule = RecipeLimits("R1", {"specular": 25.0, "scatter": 25.0}, 10.0, 10.0, 9.0)
    none = TrustedModel(None, reason=Reason.NO_APPROVED_MODEL)
    columns = tuple(range(len(registry.names())))
    trusted = none if label is None else TrustedModel(OneLabel(label), "m-0001", "d" * 64, columns)
    limits = Limits(Path("limits.toml"), "", {"R1": rule})
    decider = Decider(
        limits, indication_settings(Settings().describe), ReviewSettings(), trusted, frozenset()
    )
    return decider.decide([f"S{i}" for i in range(SEAMS)], batch(), suspended=suspended)


@cache
def limit_rule_alone() -> np.ndarray:
    return decided(None, None).verdicts


marks = st.lists(st.sampled_from(CODES), min_size=SEAMS, max_size=SEAMS).map(lambda c: np.array(c, np.int8))


@settings(max_examples=40, deadline=None)
@given(label=st.sampled_from(CLASSES), suspended=marks)
def test_suspension_never_changes_a_reject_and_never_goes_below_the_limit_rule(label, suspended) -> None:
    alone, with_it = limit_rule_alone(), decided(label, suspended)
    silent = suspended != NO_CODE
    assert (with_it.verdicts >= alone).all()
    assert (with_it.verdicts[silent] == alone[silent]).all()
    assert (with_it.verdicts[~silent] == decided(label, None).verdicts[~silent]).all()
    seam = with_it.described.seam
    assert (with_it.answers.reason_codes[silent[seam]] == suspended[seam][silent[seam]]).all()
    assert (with_it.answers.codes[silent[seam]] == NO_CODE).all()
    assert (with_it.answers.codes[~silent[seam]] == CLASSES.index(label)).all()


def test_the_batch_holds_rejects_and_reviews_for_the_property_to_bite() -> None:
    assert set(limit_rule_alone().tolist()) == {0, 2}
    assert 1 in decided("lack_of_fusion", None).verdicts


def test_a_suspended_seam_says_why_beside_what_the_limit_rule_says() -> None:
    suspended = np.full(SEAMS, reason_code(Reason.REFERENCE_CHECK_FAILED), np.int8)
    told = decided("pinhole", suspended)
    assert {told.reasons[i] for i in told.reason} == {
        "reference_check_failed",
        "above_limit+reference_check_failed",
    }


def test_marks_of_another_length_are_refused() -> None:
    with pytest.raises(ValueError, match="got 3 marks of suspension, expected one for each of 24 traces"):
        decided("pinhole", np.zeros(3, np.int8))
