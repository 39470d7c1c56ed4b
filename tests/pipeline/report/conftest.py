"""Invented input for the report tests: two small seams and an evaluation with made-up figures."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime

import numpy as np
import pandas as pd
import pytest

from seamtell.features.contracts import CHANNELS, RecipeLimits, SeamTrace
from seamtell.features.describer import SeamAnalysis, analyse_seam
from seamtell.pipeline.evaluation import result as r

HOSTILE = '<script>document.title="owned"</script><img src=x onerror=alert(1)>$\\frac{1}{0}$&"\'=cmd'
"""Text that must stay text wherever it is shown."""

WHEN = datetime(2026, 3, 2, 6, 30, tzinfo=UTC)
LIMITS = RecipeLimits("R1", dict.fromkeys(CHANNELS, 20.0), 10.0, 10.0, 9.4)


def make_trace(seam_id: str, peaks: tuple[tuple[float, float, float], ...], n: int = 801) -> SeamTrace:
    """A seam of 400 mm with Gaussian peaks of (position, specular height, scatter height)."""
    rng = np.random.default_rng(7)
    x = 0.5 * np.arange(n)
    specular = 7.0 + rng.normal(0.0, 0.2, n)
    scatter = 0.6 + rng.normal(0.0, 0.1, n)
    for position, high, low in peaks:
        bell = np.exp(-0.5 * ((x - position) / 4.0) ** 2)
        specular += high * bell
        scatter += low * bell
    amplitudes = {"specular": specular, "scatter": scatter}
    clipped = {name: np.clip(values, 0.0, 100.0).astype(np.float32) for name, values in amplitudes.items()}
    return SeamTrace(seam_id, WHEN, "line-1", "R1", 0.0, 0.5, clipped)


@pytest.fixture(scope="session")
def analysis() -> SeamAnalysis:
    """One peak beyond the limit at 120 mm, one below it at 260 mm."""
    return analyse_seam(make_trace("MB-0001", ((120.0, 30.0, 6.0), (260.0, 3.0, 6.0))), LIMITS)


@pytest.fixture(scope="session")
def hostile_analysis() -> SeamAnalysis:
    """The same seam under a name that tries to act."""
    return analyse_seam(make_trace(HOSTILE, ((120.0, 30.0, 6.0), (260.0, 3.0, 6.0))), LIMITS)


@pytest.fixture(scope="session")
def analyses(analysis: SeamAnalysis, hostile_analysis: SeamAnalysis) -> Callable[[str], SeamAnalysis]:
    """Look a seam up by its id, as the store would."""
    return {a.trace.seam_id: a for a in (analysis, hostile_analysis)}.__getitem__


def _row(number: int, seam: str, position: float, truth: str, answer: str, outcome: str) -> dict[str, object]:
    missed = answer == "missed"
    return {
        "section_id": f"S-{number:03d}",
        "seam_id": seam,
        "scope": "held_out" if number < 6 else "cross_validated",
        "purpose": "targeted",
        "recipe": "R1",
        "welded_at": "2026-03-02T06:30:00Z",
        "group": "coil:C1",
        "position_mm": position,
        "tolerance_mm": 3.0,
        "truth": truth,
        "answer": answer,
        "outcome": outcome,
        "top_label": None if missed else "pinhole",
        "top_probability": np.nan if missed else 0.61,
        "label_set": None if missed else "pinhole+edge_notch",
        "novelty_p": np.nan if missed else 0.4,
        "indication": pd.NA if missed else (0 if position < 200 else 1),
        "start_mm": np.nan,
        "end_mm": np.nan,
        "distance_mm": np.nan,
        "limit_exceeded": position < 200,
        "reason": "ambiguous" if outcome == "abstained" else "",
    }


@pytest.fixture(scope="session")
def sections() -> pd.DataFrame:
    """Eight made-up sections in the columns of ``sections.csv``."""
    table = pd.DataFrame(
        [
            _row(1, "MB-0001", 120.0, "edge_notch", "pinhole", "wrong"),
            _row(2, "MB-0001", 320.0, "pinhole", "missed", "missed"),
            _row(3, "MB-0001", 261.0, "pinhole", "pinhole", "right"),
            _row(4, HOSTILE, 121.0, "lack_of_fusion", "edge_notch", "wrong"),
            _row(5, HOSTILE, 259.0, "mismatch", "unclassified", "abstained"),
            _row(6, "MB-0001", 120.5, "edge_notch", "edge_notch", "right"),
            _row(7, HOSTILE, 258.0, "sound", "pinhole", "wrong"),
            _row(8, "MB-0001", 30.0, "sound", "missed", "quiet"),
        ]
    )
    return table[list(r.SECTION_COLUMNS)].astype({"indication": "Int64"})


def figure(value: float, n: int = 30, half: float = 0.1, top: float = 1.0) -> r.Estimate:
    """A made-up figure with an interval."""
    return r.Estimate(n=n, estimate=value, low=max(0.0, value - half), high=min(top, value + half))


UNKNOWN = r.Estimate(n=0, unknown="nothing unflagged was cut")


def make_scope(scope: r.Scope, own: float, hand: float) -> r.ScopeResult:
    """Made-up figures of one scope."""
    counts = [[0] * len(r.MATRIX_COLUMNS) for _ in r.MATRIX_ROWS]
    for i in range(4):
        counts[i][i] = 18 + i
        counts[i][(i + 1) % 4] = i
        counts[i][5] = 2
    counts[0][6] = 3
    counts[4][6] = 5
    per_class = tuple(
        r.ClassFigures(
            label=label,
            sections=sum(row),
            indicated=sum(row[:6]),
            recall=figure(0.8) if sum(row) else UNKNOWN,
            recall_answered=figure(0.9),
            precision=figure(0.85),
            missed=figure(0.05),
            abstained=figure(0.1),
        )
        for label, row in zip(r.MATRIX_ROWS, counts, strict=True)
    )
    side = tuple(
        r.CandidateFigures(
            name=name,
            chosen=name == "lightgbm",
            macro_f1=figure(value, half=0.04),
            kappa=figure(value),
            log_loss=figure(1.6 - value, top=9.0),
        )
        for name, value in (("prior", 0.1), ("hand_rule", hand), ("logistic", own), ("lightgbm", own))
    )
    limit = r.LimitRuleFigures(
        detections=figure(0.7),
        false_calls=figure(0.1),
        by_class=tuple(r.ClassDetection(label=label, detected=figure(0.7)) for label in r.MATRIX_ROWS[:4]),
        unlabelled=42,
    )
    return r.ScopeResult(
        scope=scope,
        sections=100,
        judged=97,
        shared=2,
        left_out=1,
        groups=40,
        first_welded_at=WHEN,
        last_welded_at=WHEN,
        matrix=r.ConfusionMatrix(counts=tuple(tuple(row) for row in counts)),
        per_class=per_class,
        macro_f1=figure(own, half=0.04),
        macro_f1_with_abstention=figure(own - 0.05),
        kappa=figure(own),
        log_loss=figure(1.6 - own, top=9.0),
        reliability=tuple(
            r.ReliabilityBin(low_edge=low, high_edge=low + 0.2, mean_probability=low + 0.1, right=figure(low))
            for low in (0.4, 0.6, 0.8)
        ),
        set_coverage=tuple(
            r.SetCoverage(label=label, coverage=figure(0.9), aimed=0.9, mean_set_size=1.2)
            for label in r.MATRIX_ROWS
        ),
        abstention=figure(0.12),
        abstentions=(r.AbstentionCount(reason="ambiguous", count=1),) if scope is r.Scope.HELD_OUT else (),
        missed=figure(0.04),
        quiet=5,
        by_purpose=(
            r.PurposeFigures(
                purpose="targeted", sections=80, flaws=60, unflagged=0, missed=UNKNOWN, right=figure(0.8)
            ),
        ),
        limit_rule=limit,
        side_by_side=side,
    )


def make_result(own: float = 0.8, hand: float = 0.6, note: str = "a note") -> r.EvaluationResult:
    """A made-up evaluation; no figure in it was measured."""
    return r.EvaluationResult(
        model_id="m-0001",
        model_digest="ab" * 32,
        candidate="lightgbm",
        classes=r.MATRIX_ROWS,
        left_out_classes=(),
        sections_digest="cd" * 32,
        traces_digest="ef" * 32,
        limits_digest="01" * 32,
        settings_digest="23" * 32,
        software_version="0.1.0",
        evaluated_at=WHEN,
        seed=1,
        draws=1000,
        held_out=make_scope(r.Scope.HELD_OUT, own, hand),
        cross_validated=make_scope(r.Scope.CROSS_VALIDATED, own, hand),
        review_cost=r.ReviewCost(
            labels={"lack_of_fusion": 0.5},
            novel=True,
            asked=figure(0.03, half=0.01),
            needless=figure(0.4),
            needless_per_1000=figure(12.0, half=4.0, top=1000.0),
            caught=figure(0.5),
        ),
        descriptors=tuple(
            r.DescriptorImportance(
                name=name,
                family="cross_channel",
                unit="dB",
                meaning="height of specular over height of scatter",
                log_loss_increase=figure(0.2, half=0.05),
            )
            for name in ("height_ratio_db", "area_ratio_db")
        ),
        families=(r.FamilyImportance(family="cross_channel", descriptors=9, log_loss_increase=figure(0.5)),),
        notes=(note,),
    )


@pytest.fixture(scope="session")
def result() -> r.EvaluationResult:
    """A made-up evaluation whose model is better than the hand rule."""
    return make_result()
