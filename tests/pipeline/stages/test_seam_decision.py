"""Hostile models and broken seams on the road that production takes."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from numpy.typing import NDArray

from seamtell.features.contracts import Flaw, SeamTrace
from seamtell.features.describer import analyse_seam, describe_seam
from seamtell.features.descriptors import registry
from seamtell.models.answers import Answers
from seamtell.models.limit_rule import apply_limit_rule
from seamtell.models.verdict import Verdict
from seamtell.pipeline import classify as stage
from seamtell.pipeline.classify import classify
from seamtell.pipeline.decisions.seam_decision import NOT_DESCRIBED, Decider
from seamtell.pipeline.decisions.trusted_model import TrustedModel
from seamtell.pipeline.describe import indication_settings
from seamtell.pipeline.limits_file import read_limits
from seamtell.pipeline.settings import Settings
from seamtell.pipeline.store.seam_store import SeamStore
from seamtell.pipeline.train import TrainResult
from seamtell.pipeline.workspace import Workspace

CLASSES = tuple(flaw.value for flaw in Flaw)
COLUMNS = tuple(range(len(registry.names())))


class Hostile:
    """A model that answers by a function of its own."""

    classes = CLASSES

    def answer(self, values: NDArray[np.float64], recipes: Sequence[str]) -> Answers:
        raise NotImplementedError


def labelled(n: int, label: str, probability: float = 1.0) -> Answers:
    probabilities = np.full((n, 5), (1 - probability) / 4)
    probabilities[:, CLASSES.index(label)] = probability
    return Answers(CLASSES, probabilities, (label,) * n, ((label,),) * n, np.ones(n), ("",) * n)


class AlwaysSound(Hostile):
    def answer(self, values, recipes):
        return labelled(len(values), "sound")


class Random(Hostile):
    def answer(self, values, recipes):
        rng = np.random.default_rng(len(values))
        drawn = tuple(rng.choice(CLASSES, len(values)).tolist())
        answers = labelled(len(values), "sound")
        return replace(answers, labels=drawn, label_sets=tuple((name,) for name in drawn))


class NotANumber(Hostile):
    def answer(self, values, recipes):
        return replace(labelled(len(values), "sound"), probabilities=np.full((len(values), 5), np.nan))


class Raising(Hostile):
    def answer(self, values, recipes):
        raise RuntimeError("no")


class Exiting(Hostile):
    def answer(self, values, recipes):
        raise SystemExit(0)


class WrongShape(Hostile):
    def answer(self, values, recipes):
        return labelled(len(values) + 1, "sound")


class NoAnswers(Hostile):
    def answer(self, values, recipes):
        return None


class WritesIntoItsInput(Hostile):
    def answer(self, values, recipes):
        values[:] = 0.0
        return labelled(len(values), "sound")


class SaysAccept(Hostile):
    def answer(self, values, recipes):
        return replace(labelled(len(values), "sound"), labels=("accept",) * len(values))


HOSTILE = (
    AlwaysSound,
    Random,
    NotANumber,
    Raising,
    Exiting,
    WrongShape,
    NoAnswers,
    WritesIntoItsInput,
    SaysAccept,
)


def trusting(model: Hostile) -> TrustedModel:
    return TrustedModel(model, "m-9999", "d" * 64, COLUMNS)


@pytest.fixture(scope="module")
def traces(trained: tuple[Workspace, TrainResult]) -> list[SeamTrace]:
    return list(SeamStore(trained[0].traces_dir).iter_traces())


def decider(ws: Workspace, trusted: TrustedModel, **more: float) -> Decider:
    settings = Settings()
    return Decider(
        read_limits(ws.limits_path),
        indication_settings(settings.describe),
        settings.review,
        trusted,
        frozenset(),
        **more,
    )


@pytest.mark.parametrize("hostile", HOSTILE)
def test_no_hostile_model_releases_a_seam_that_the_limit_rule_rejects(
    trained: tuple[Workspace, TrainResult],
    tmp_path: Path,
    now: datetime,
    monkeypatch: pytest.MonkeyPatch,
    hostile: type[Hostile],
) -> None:
    ws, _ = trained
    monkeypatch.setattr(stage, "trusted_model", lambda *_, **__: trusting(hostile()))
    result = classify(ws, until=datetime(2026, 1, 25, tzinfo=UTC), out=tmp_path / "out", now=now)
    decisions = pd.read_parquet(result.folder / "decisions.parquet").set_index("seam_id")
    limits = read_limits(ws.limits_path)
    rejected = 0
    for trace in SeamStore(ws.traces_dir).iter_traces(decisions.index):
        verdict = apply_limit_rule(trace, limits.get(trace.recipe)).verdict
        assert decisions.loc[trace.seam_id, "limit_verdict"] == verdict.text
        if verdict is Verdict.REJECT:
            assert decisions.loc[trace.seam_id, "verdict"] == "reject"
            rejected += 1
    assert rejected >= 5
    assert len(decisions) == 32


def test_one_seam_that_breaks_the_model_costs_only_its_own_labels(
    trained: tuple[Workspace, TrainResult], traces: list[SeamTrace]
) -> None:
    ws, _ = trained
    limits = read_limits(ws.limits_path)
    poison = next(t for t in traces if t.seam_id == "S0007")
    settings = indication_settings(Settings().describe)
    bad = describe_seam(analyse_seam(poison, limits.for_recipe("R1"), settings))[0]

    class ChokesOnOne(Hostile):
        def answer(self, values, recipes):
            if (values == bad).all(axis=1).any():
                raise ZeroDivisionError
            return labelled(len(values), "pinhole")

    decisions = decider(ws, trusting(ChokesOnOne())).decide(traces[:40])
    reasons = {one.seam_id: set(one.answers.reasons) for one in decisions if one.indications}
    assert reasons.pop("S0007") == {"model_error"}
    assert set().union(*reasons.values()) == {""}


def test_a_model_that_hangs_is_waited_for_once_and_not_asked_again(
    trained: tuple[Workspace, TrainResult], traces: list[SeamTrace]
) -> None:
    asked = []
    release = threading.Event()

    class Hanging(Hostile):
        def answer(self, values, recipes):
            asked.append(len(values))
            release.wait(20)
            return labelled(len(values), "sound")

    slow = decider(trained[0], trusting(Hanging()), budget_s=0.05)
    first, second = slow.decide(traces[:20]), slow.decide(traces[20:40])
    release.set()
    assert len(asked) == 1
    reasons = {reason for one in [*first, *second] for reason in one.answers.reasons}
    assert reasons == {"model_timeout"}
    assert all(one.verdict is one.limit.verdict for one in [*first, *second])


def test_a_seam_that_cannot_be_described_goes_to_review_and_the_others_are_decided(
    trained: tuple[Workspace, TrainResult], traces: list[SeamTrace], monkeypatch: pytest.MonkeyPatch
) -> None:
    from seamtell.pipeline.decisions import seam_decision

    real = seam_decision.analyse_seam

    def breaks_on_one(trace, limits, settings):
        if trace.seam_id == "S0000":
            raise FloatingPointError("divide by zero")
        return real(trace, limits, settings)

    monkeypatch.setattr(seam_decision, "analyse_seam", breaks_on_one)
    decisions = {one.seam_id: one for one in decider(trained[0], trusting(AlwaysSound())).decide(traces)}
    assert decisions["S0000"].verdict is Verdict.REVIEW
    assert decisions["S0000"].reason == NOT_DESCRIBED
    assert len(decisions) == 130
    assert sum(len(one.indications) for one in decisions.values()) == 120


def test_a_trace_with_a_sample_that_is_no_number_is_rejected(
    trained: tuple[Workspace, TrainResult], traces: list[SeamTrace]
) -> None:
    amplitudes = {name: values.copy() for name, values in traces[0].amplitudes_pct.items()}
    amplitudes["scatter"][100] = np.nan
    broken = replace(traces[0], amplitudes_pct=amplitudes)
    (one,) = decider(trained[0], trusting(AlwaysSound())).decide([broken])
    assert one.verdict is Verdict.REJECT
    assert one.reason == f"non_finite_amplitude+{NOT_DESCRIBED}"


def test_a_novel_indication_below_the_limit_asks_for_a_review(
    trained: tuple[Workspace, TrainResult], traces: list[SeamTrace]
) -> None:
    class Surprised(Hostile):
        def answer(self, values, recipes):
            n = len(values)
            return replace(
                labelled(n, "pinhole"),
                labels=("unclassified",) * n,
                reasons=("novel",) * n,
                novelty_p=np.zeros(n),
            )

    decisions = decider(trained[0], trusting(Surprised())).decide(traces)
    asked = [one for one in decisions if one.limit.verdict is Verdict.ACCEPT and one.indications]
    assert asked
    assert {(one.verdict, one.reason) for one in asked} == {(Verdict.REVIEW, "novel")}
