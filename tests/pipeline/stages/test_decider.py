"""Hostile models and broken seams on the road that production takes."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pytest
from numpy.typing import NDArray

from seamtell.features.contracts import UNCLASSIFIED, Flaw, SeamTrace
from seamtell.features.describer import analyse_seam, describe_seam
from seamtell.features.descriptors import registry
from seamtell.features.trace_batch import TraceBatch
from seamtell.models.answers import Answers, unclassified_answers
from seamtell.models.guarded import guarded_verdict
from seamtell.models.limit_rule import apply_limit_rule
from seamtell.models.reasons import Reason
from seamtell.models.verdict import Verdict
from seamtell.pipeline import classify as stage
from seamtell.pipeline.classify import classify
from seamtell.pipeline.decisions import described_safely
from seamtell.pipeline.decisions.decided_batch import DecidedBatch
from seamtell.pipeline.decisions.decider import Decider
from seamtell.pipeline.decisions.decision_tables import decision_table, indication_table
from seamtell.pipeline.decisions.seam_reasons import NOT_DESCRIBED
from seamtell.pipeline.decisions.trusted_model import TrustedModel, trusted_model
from seamtell.pipeline.limits_file import read_limits
from seamtell.pipeline.settings import ReviewSettings, Settings, indication_settings, read_settings
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
    return Answers.of_names(CLASSES, probabilities, (label,) * n, ((label,),) * n, np.ones(n), ("",) * n)


class AlwaysSound(Hostile):
    def answer(self, values, recipes):
        return labelled(len(values), "sound")


class Random(Hostile):
    def answer(self, values, recipes):
        rng = np.random.default_rng(len(values))
        drawn = rng.integers(0, 5, len(values)).astype(np.int16)
        answers = labelled(len(values), "sound")
        return replace(answers, codes=drawn, sets=drawn[:, None] == np.arange(5))


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
        answers = labelled(len(values), "sound")
        return replace(answers, codes=np.full(len(values), 5, np.int16))  # a sixth class that is none


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


def decide(one: Decider, traces: Sequence[SeamTrace]) -> DecidedBatch:
    return one.decide([trace.seam_id for trace in traces], TraceBatch.of_traces(traces))


def reason_of(decided: DecidedBatch, i: int) -> str:
    return decided.reasons[decided.reason[i]]


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
    batch = TraceBatch.of_traces([poison])
    bad = described_safely.describe_batch(batch, limits.by_recipe, settings).descriptors[0]

    class ChokesOnOne(Hostile):
        def answer(self, values, recipes):
            if (values == bad).all(axis=1).any():
                raise ZeroDivisionError
            return labelled(len(values), "pinhole")

    decided = decide(decider(ws, trusting(ChokesOnOne())), traces[:40])
    seams = [decided.seam_ids[i] for i in decided.described.seam]
    told = set(zip(seams, decided.answers.reasons, decided.answers.labels, strict=True))
    assert {row for row in told if row[0] == "S0007"} == {("S0007", "model_error", UNCLASSIFIED)}
    assert {row[1:] for row in told if row[0] != "S0007"} == {("", "pinhole")}


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
    first, second = decide(slow, traces[:20]), decide(slow, traces[20:40])
    release.set()
    assert len(asked) == 1
    for one in (first, second):
        assert one.timed_out
        assert set(one.answers.reasons) == {"model_timeout"}
        assert (one.verdicts == one.limits.verdicts).all()


def test_a_seam_that_cannot_be_described_goes_to_review_and_the_others_are_decided(
    trained: tuple[Workspace, TrainResult], traces: list[SeamTrace], monkeypatch: pytest.MonkeyPatch
) -> None:
    real, poison = described_safely.describe_batch, traces[0].amplitudes_pct["scatter"]
    whole = decide(decider(trained[0], trusting(AlwaysSound())), traces)

    def breaks_on_one(batch, limits, settings):
        for first, count in zip(batch.starts[:, 1], batch.counts[:, 1], strict=True):
            if np.array_equal(batch.values[1][first : first + count], poison):
                raise FloatingPointError("divide by zero")
        return real(batch, limits, settings)

    monkeypatch.setattr(described_safely, "describe_batch", breaks_on_one)
    decided = decide(decider(trained[0], trusting(AlwaysSound())), traces)
    assert (decided.seam_ids[0], decided.verdicts[0]) == ("S0000", Verdict.REVIEW)
    assert reason_of(decided, 0) == NOT_DESCRIBED
    assert decided.not_described.tolist() == [True] + [False] * 129
    assert (decided.described.seam > 0).all()
    kept = whole.described.seam > 0
    assert (decided.described.seam == whole.described.seam[kept]).all()
    assert (decided.described.descriptors == whole.described.descriptors[kept]).all()
    assert (decided.verdicts[1:] == whole.verdicts[1:]).all()


def test_a_trace_with_a_sample_that_is_no_number_is_rejected(
    trained: tuple[Workspace, TrainResult], traces: list[SeamTrace]
) -> None:
    amplitudes = {name: values.copy() for name, values in traces[0].amplitudes_pct.items()}
    amplitudes["scatter"][100] = np.nan
    broken = replace(traces[0], amplitudes_pct=amplitudes)
    decided = decide(decider(trained[0], trusting(AlwaysSound())), [broken, traces[1]])
    assert decided.verdicts[0] == Verdict.REJECT
    assert reason_of(decided, 0) == f"non_finite_amplitude+{NOT_DESCRIBED}"
    assert NOT_DESCRIBED not in reason_of(decided, 1)


def test_a_novel_indication_below_the_limit_asks_for_a_review(
    trained: tuple[Workspace, TrainResult], traces: list[SeamTrace]
) -> None:
    class Surprised(Hostile):
        def answer(self, values, recipes):
            n = len(values)
            return unclassified_answers(n, CLASSES, Reason.NOVEL)

    decided = decide(decider(trained[0], trusting(Surprised())), traces)
    accepted = decided.limits.verdicts == Verdict.ACCEPT
    asked = np.intersect1d(np.flatnonzero(accepted), decided.described.seam)
    assert len(asked)
    assert set(decided.verdicts[asked].tolist()) == {Verdict.REVIEW}
    assert {reason_of(decided, i) for i in asked} == {"novel"}


class ByHeight(Hostile):
    """Labels, sets, novelty and reasons that hang on the descriptors alone."""

    def answer(self, values, recipes):
        n = len(values)
        rough = np.abs(values[:, :2]).round().astype(np.int64)  # the two roads agree to 1e-5 only
        codes = rough[:, 0] % 6 - 1
        reasons = np.where(codes < 0, rough[:, 1] % 3 + 9, -1)
        probabilities = np.full((n, 5), 0.1)
        probabilities[np.arange(n), codes] = 0.6
        sets = codes[:, None] == np.arange(5)
        return Answers(
            CLASSES, probabilities, codes.astype(np.int16), sets, np.full(n, 0.5), reasons.astype(np.int8)
        )


def one_after_the_other(one: Decider, traces: Sequence[SeamTrace]) -> list[tuple[str, str, str, list[str]]]:
    """The road of each seam by itself, with the rules for single seams: the specification."""
    rows = []
    for trace in traces:
        limits = one.limits.get(trace.recipe)
        limit, asks, labels = apply_limit_rule(trace, limits), set(), []
        conflict = trace.seam_id in one.conflicts
        if limits is not None:
            analysis = analyse_seam(trace, limits, one.settings)
            answers = one.trusted.model.answer(describe_seam(analysis), [trace.recipe])
            for i, indication in enumerate(analysis.indications):
                label, reason = answers.labels[i], answers.reasons[i]
                labels.append(UNCLASSIFIED if conflict else label)
                if conflict or one.trial or indication.exceeds_limit:
                    continue
                if reason == "novel" and one.review.novel:
                    asks.add("novel")
                elif one.review.labels.get(label, 1.0) <= 0.6:
                    asks.add(label)
        told = [limit.reason, "conflicting_traces" if conflict else "", *sorted(asks)]
        verdict = guarded_verdict(limit, bool(asks) or conflict)
        rows.append((trace.seam_id, verdict.text, "+".join(name for name in told if name), labels))
    return rows


@pytest.mark.parametrize("trial", [False, True])
def test_a_batch_is_decided_as_its_seams_are_one_after_the_other(
    trained: tuple[Workspace, TrainResult], traces: list[SeamTrace], trial: bool
) -> None:
    strangers = [replace(trace, seam_id=f"{trace.seam_id}-R9", recipe="R9") for trace in traces[:3]]
    mixed = [*traces[:60], *strangers, *traces[60:]]
    one = Decider(
        read_limits(trained[0].limits_path),
        indication_settings(Settings().describe),
        ReviewSettings(labels={"lack_of_fusion": 0.6, "mismatch": 0.61, "edge_notch": 0.2}),
        trusting(ByHeight()),
        frozenset(trace.seam_id for trace in traces[5:25]),
        trial=trial,
    )
    decided = decide(one, mixed)
    labels = [[] for _ in mixed]
    for seam, label in zip(decided.described.seam, decided.answers.labels, strict=True):
        labels[seam].append(label)
    told = [
        (row["seam_id"], row["verdict"], row["reason"], found)
        for row, found in zip(decision_table(decided, "d").to_pylist(), labels, strict=True)
    ]
    assert told == one_after_the_other(one, mixed)
    assert len({row[2] for row in told}) > (3 if trial else 5)


@pytest.mark.parametrize("size", [1, 7, 64])
def test_the_tables_do_not_depend_on_how_the_seams_are_cut_into_batches(
    trained: tuple[Workspace, TrainResult], traces: list[SeamTrace], size: int
) -> None:
    one = decider(trained[0], trusted_model(trained[0], **basis(trained[0])))
    whole = decide(one, traces)
    parts = [decide(one, traces[i : i + size]) for i in range(0, len(traces), size)]
    assert set(whole.answers.labels) - {UNCLASSIFIED}
    assert pa.concat_tables([indication_table(part) for part in parts]) == indication_table(whole)
    assert pa.concat_tables([decision_table(part, "d") for part in parts]) == decision_table(whole, "d")


def basis(ws: Workspace) -> dict:
    return {
        "settings": read_settings(ws.settings_path),
        "limits_digest": read_limits(ws.limits_path).digest,
        "now": datetime(2026, 6, 1, tzinfo=UTC),
    }


def test_several_threads_decide_as_one_does(
    trained: tuple[Workspace, TrainResult], traces: list[SeamTrace]
) -> None:
    one = decider(trained[0], trusted_model(trained[0], **basis(trained[0])))
    parts = [traces[i : i + 26] for i in range(0, 130, 26)] * 4
    alone = [indication_table(decide(one, part)) for part in parts]
    with ThreadPoolExecutor(4) as pool:
        assert [indication_table(d) for d in pool.map(lambda part: decide(one, part), parts)] == alone


def test_ids_and_traces_have_to_be_of_the_same_seams(
    trained: tuple[Workspace, TrainResult], traces: list[SeamTrace]
) -> None:
    with pytest.raises(ValueError, match="got 1 seam ids, expected one for each of 2 traces"):
        decider(trained[0], trusting(AlwaysSound())).decide(["S0000"], TraceBatch.of_traces(traces[:2]))


def test_no_seams_give_empty_tables(trained: tuple[Workspace, TrainResult]) -> None:
    decided = decide(decider(trained[0], trusting(AlwaysSound())), [])
    assert indication_table(decided).num_rows == decision_table(decided, "d").num_rows == 0
