"""A made-up shop's evaluation and acceptance record, and the dossier content made from them.

No figure here was measured. The record holds one of everything: fitted curves and refused ones,
known and unknown miss rates, strata with too few sections, hostile names.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime

import numpy as np
import pandas as pd
import pytest

from seamtell.features.contracts import CHANNELS, Flaw, RecipeLimits, SeamTrace
from seamtell.features.describer import SeamAnalysis, analyse_seam
from seamtell.models.model_card import DescriptorRange, LibraryVersions, ModelCard, TrainingDomain
from seamtell.pipeline.acceptance import record as a
from seamtell.pipeline.acceptance.cost_table import CostTable
from seamtell.pipeline.dossier.arrangement import arrange
from seamtell.pipeline.dossier.content import DossierContent
from seamtell.pipeline.dossier.source import DossierSource
from seamtell.pipeline.evaluation import result as r
from seamtell.pipeline.evaluation.intervals import share
from seamtell.pipeline.sign_off.criteria import Criteria, Criterion
from seamtell.pipeline.sign_off.log_entry import Action, Deviation, LogEntry
from seamtell.pipeline.sign_off.needed import needed_sections

HOSTILE = '<script>document.title="owned"</script><img src=x onerror=alert(1)>$\\frac{1}{0}$&"\'=cmd'
"""Text that must stay text wherever it is shown."""
WHEN = datetime(2026, 3, 2, 6, 30, tzinfo=UTC)
MADE = datetime(2026, 4, 1, 12, 0, tzinfo=UTC)
FLAWS = tuple(flaw.value for flaw in Flaw if flaw is not Flaw.SOUND)
TOO_FEW = r.Estimate(n=4, unknown="too few sections (4)")
NOTHING_CUT = r.Estimate(n=0, unknown="nothing unflagged was cut")


def figure(value: float, n: int = 30, half: float = 0.1) -> r.Estimate:
    """A made-up figure with an interval."""
    return r.Estimate(n=n, estimate=value, low=value - half, high=value + half, method="made up")


def make_scope(scope: r.Scope) -> r.ScopeResult:
    """Made-up figures of one scope."""
    counts = [[0] * len(r.MATRIX_COLUMNS) for _ in r.MATRIX_ROWS]
    for i in range(5):
        counts[i][i] = 12 + 2 * i
        counts[i][(i + 1) % 5] = i % 3
        counts[i][5] = 4
    counts[0][6], counts[4][6] = 1, 9
    return r.ScopeResult(
        scope=scope,
        sections=110,
        judged=107,
        shared=2,
        left_out=1,
        groups=40,
        first_welded_at=WHEN,
        last_welded_at=WHEN,
        matrix=r.ConfusionMatrix(counts=tuple(tuple(row) for row in counts)),
        per_class=tuple(_class_figures(*pair) for pair in zip(r.MATRIX_ROWS, counts, strict=True)),
        macro_f1=figure(0.78),
        macro_f1_with_abstention=figure(0.66),
        kappa=figure(0.7),
        log_loss=figure(0.8),
        reliability=(),
        set_coverage=(),
        abstention=share(20, 97),
        abstentions=(r.AbstentionCount(reason="ambiguous", count=20),),
        missed=share(1, 70),
        quiet=9,
        by_purpose=(
            r.PurposeFigures(
                purpose="targeted",
                sections=90,
                flaws=69,
                unflagged=0,
                missed=NOTHING_CUT,
                right=share(60, 90),
            ),
            r.PurposeFigures(
                purpose="random", sections=20, flaws=1, unflagged=17, missed=share(1, 1), right=share(2, 3)
            ),
        ),
        limit_rule=r.LimitRuleFigures(
            detections=share(45, 70),
            false_calls=share(3, 30),
            by_class=tuple(r.ClassDetection(label=label, detected=share(11, 17)) for label in FLAWS),
            unlabelled=45,
        ),
        side_by_side=tuple(
            r.CandidateFigures(
                name=name,
                chosen=name == "lightgbm",
                macro_f1=figure(f),
                kappa=figure(f),
                log_loss=figure(1 - f),
            )
            for name, f in (("hand_rule", 0.5), ("lightgbm", 0.78))
        ),
    )


def _class_figures(label: str, row: list[int]) -> r.ClassFigures:
    right, indicated = row[r.MATRIX_ROWS.index(label)], sum(row[:6])
    missed = r.Estimate(n=0, unknown="not defined for sound seam")
    return r.ClassFigures(
        label=label,
        sections=sum(row),
        indicated=indicated,
        recall=share(right, indicated if label == "sound" else sum(row)),
        recall_answered=share(right, sum(row[:5])),
        precision=share(right, right + 2),
        missed=missed if label == "sound" else share(row[6], sum(row)),
        abstained=share(row[5], indicated),
    )


def make_evaluation(note: str = "a note") -> r.EvaluationResult:
    """A made-up evaluation."""
    return r.EvaluationResult(
        model_id="m-0007",
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
        held_out=make_scope(r.Scope.HELD_OUT),
        cross_validated=make_scope(r.Scope.CROSS_VALIDATED),
        review_cost=r.ReviewCost(
            labels={"lack_of_fusion": 0.5},
            novel=True,
            asked=figure(0.2),
            needless=figure(0.4),
            needless_per_1000=figure(12.0),
            caught=figure(0.5),
        ),
        descriptors=(),
        families=(),
        notes=(note,),
    )


def fitted(label: str, detector: str, link: str, a90_95: float | None) -> a.Detection:
    """A made-up curve through twenty made-up flaws."""
    sizes = np.linspace(0.2, 2.0, 20)
    pod = 1 / (1 + np.exp(-6 * (sizes - 0.8)))
    points = [
        a.DetectionPoint(section_id=f"S-{i:03d}", size_mm=float(x), hit=bool(x > 0.7 or i == 3))
        for i, x in enumerate(sizes)
    ]
    return a.Detection(
        label=label,
        detector=detector,
        size="width_mm",
        link=link,
        points=tuple(points),
        sections_without_size=2,
        penalised=link == "probit",
        intercept=-4.8,
        slope=6.0,
        a50_mm=0.8,
        a90_mm=1.17,
        a90_95_mm=a90_95,
        sizes_mm=tuple(sizes),
        pod=tuple(pod),
        pod_low=tuple(pod**2),
        fit_p=0.4,
        concerns=(a.ConcernText(doubt="few_flaws", text="20 sized flaws, below 60", refusal=False),),
    )


def refused(label: str, detector: str, link: str) -> a.Detection:
    """No curve, and the reason."""
    return a.Detection(
        label=label,
        detector=detector,
        size="width_mm",
        link=link,
        points=(a.DetectionPoint(section_id="S-001", size_mm=0.5, hit=True),),
        sections_without_size=0,
        penalised=False,
        concerns=(a.ConcernText(doubt="no_misses", text="none of 1 flaws was missed", refusal=True),),
    )


def _miss_rates() -> tuple[a.MissRate, ...]:
    bounded = a.MissRate(
        label="all",
        as_cut=share(1, 70),
        corrected=r.Estimate(n=70, estimate=0.4, low=0.05, high=0.8, method="made up"),
        exact_low=0.05,
        exact_high=0.8,
        random_cuts=17,
        random_misses=1,
        random_cuts_wanted=900,
        bounds_only=True,
        words="17 random cuts met 1 missed flaw: no more than the bounds 0.05 to 0.80.",
    )
    unknown = a.MissRate(
        label="pinhole",
        as_cut=share(1, 18),
        corrected=NOTHING_CUT,
        random_cuts=0,
        random_misses=0,
        random_cuts_wanted=29,
        bounds_only=False,
        words="unknown: nothing unflagged was cut. 29 random cuts without a miss would bound it to 0.10.",
    )
    return bounded, unknown


def _comparison(rival: a.Rival, name: str, difference: r.Estimate, shown: bool | None) -> a.Comparison:
    return a.Comparison(
        rival=rival,
        model_id="m-0003" if rival is a.Rival.APPROVED else "",
        figure=name,
        sections=97,
        only_model=9 if name == "right" else None,
        only_rival=4 if name == "right" else None,
        p_exact=0.267 if name == "right" else None,
        difference=difference,
        margin=None if shown is None else 0.05,
        non_inferior=shown,
    )


def _strata(hostile: str) -> tuple[a.Stratum, ...]:
    known = [
        a.Stratum(
            by="recipe",
            value=name,
            sections=n,
            right=share(n // 2, n),
            missed=share(1, n),
            abstained=share(n // 3, n),
        )
        for name, n in (("MB-1513", 40), (hostile, 53))
    ]
    few = a.Stratum(
        by="recipe", value="MB-2520", sections=4, right=TOO_FEW, missed=TOO_FEW, abstained=TOO_FEW
    )
    return (*known, few)


def _costs() -> tuple[a.CostFigures, ...]:
    thresholds = tuple(i / 20 for i in range(21))
    return tuple(
        a.CostFigures(
            candidate=name,
            chosen=name == "lightgbm",
            per_1000=r.Estimate(n=97, estimate=best, low=0.8 * best, high=1.2 * best, method="made up"),
            best_threshold=0.6,
            curve=a.CostCurve(
                thresholds=thresholds, per_1000=tuple(best + 900 * (t - 0.6) ** 2 for t in thresholds)
            ),
        )
        for name, best in (("hand_rule", 1800.0), ("lightgbm", 950.0))
    )


def make_record(hostile: str = "MB-1815") -> a.AcceptanceRecord:
    """A made-up record with one of everything."""
    missing = a.Rival.APPROVED
    return a.AcceptanceRecord(
        model_id="m-0007",
        model_digest="ab" * 32,
        evaluation_digest="45" * 32,
        scope=r.Scope.HELD_OUT,
        detection=(
            fitted("pinhole", "specular", "logit", 1.4),
            fitted("pinhole", "specular", "probit", 1.5),
            refused("pinhole", "scatter", "logit"),
            refused("pinhole", "scatter", "probit"),
            fitted("mismatch", "limit_rule", "logit", None),
            refused("mismatch", "limit_rule", "probit"),
        ),
        miss_rates=_miss_rates(),
        tolerance=(
            a.ToleranceCurve(
                name="macro_f1",
                in_use_mm=2.0,
                figures=tuple(
                    a.ToleranceFigure(extra_tolerance_mm=mm, figure=figure(0.7 + 0.04 * mm))
                    for mm in (0.5, 1.0, 2.0, 3.0)
                ),
            ),
        ),
        agreement=a.AgreementFigures(
            sections=24,
            readings=55,
            examiners=3,
            cohen_kappa=figure(0.8),
            fleiss_kappa=figure(0.79),
            krippendorff_alpha=figure(0.78),
        ),
        label_errors=tuple(
            a.LabelErrorFigures(
                label_error=error,
                macro_f1_low=0.66 - 2 * error,
                macro_f1_high=0.66 + 2 * error,
                recall_low={"pinhole": 0.6 - error},
                recall_high={"pinhole": 0.6 + error},
            )
            for error in (0.01, 0.05)
        ),
        comparisons=(
            _comparison(a.Rival.LIMIT_RULE, "detected", figure(0.3), None),
            _comparison(missing, "right", figure(0.05, half=0.08), True),
            _comparison(missing, "macro_f1", figure(0.02), False),
            _comparison(missing, "expected_cost", figure(-120.0, half=200.0), None),
        ),
        strata=_strata(hostile),
        stratum_tests=(
            a.StratumTest(
                by="recipe",
                figure="right",
                strata=2,
                p=0.03,
                p_adjusted=0.09,
                method="made up",
                words="no difference between recipes is shown",
            ),
        ),
        simultaneous=(
            a.ClassBound(
                label="pinhole", recall=share(12, 17, level=0.99), level_each=0.99, method="Bonferroni, exact"
            ),
        ),
        costs=_costs(),
        weighted_kappa=figure(0.72),
        warnings=("macro-F1 is implausibly good",),
        approved_model_id="m-0003",
        cost_table=CostTable(),
    )


def make_card() -> ModelCard:
    """A made-up model card."""
    return ModelCard(
        format_version=2,
        schema_digest="67" * 32,
        descriptor_names=("height_ratio_db",),
        classes=r.MATRIX_ROWS,
        sections_per_class=(40, 40, 40, 40, 40),
        left_out_classes=(),
        candidates=("hand_rule", "lightgbm"),
        chosen="lightgbm",
        error_rate=0.1,
        novelty_p=0.01,
        novelty_threshold_p=0.02,
        seed=1,
        folds=5,
        domain=TrainingDomain(
            recipes=("MB-1513", "MB-1815"), ranges=(DescriptorRange(name="height_ratio_db", low=0, high=1),)
        ),
        training_section_ids=("S-001", "S-002"),
        training_groups=("coil:C1",),
        data_digest="89" * 32,
        library_versions=LibraryVersions(
            python="3.11", numpy="2.0", scipy="1.14", scikit_learn="1.6", lightgbm="4.5"
        ),
        warnings=("only 27 sections of mismatch",),
    )


def make_entry(**changes: object) -> LogEntry:
    """A made-up entry of the log, signed on this evaluation."""
    facts: dict[str, object] = {
        "action": Action.APPROVE,
        "time": WHEN,
        "by": "R. Example, quality engineer (invented)",
        "reason": "a made-up reason",
        "model_id": "m-0007",
        "model_digest": "ab" * 32,
        "sections_digest": "cd" * 32,
        "limits_digest": "01" * 32,
        "criteria_digest": "0a" * 32,
        "evaluation_digest": "45" * 32,
        "software_version": "0.1.0",
        "environment": {"numpy": "2.0"},
        "seq": 1,
        "previous": "0" * 64,
        "digest": "fe" * 32,
    }
    return LogEntry.model_validate({**facts, **changes})


DEVIATION = Deviation(failed=("agreement",), justification="a made-up reason", expires=date(2026, 6, 30))
CRITERIA = Criteria(
    criterion=(
        Criterion(
            id="enough_sections", statistic="sections", scope="each_flaw", bound=8, interval="estimate"
        ),
        Criterion(id="agreement", statistic="kappa", bound=0.5, interval="low"),
        Criterion(
            id="fusion_named",
            statistic="recall",
            scope="lack_of_fusion",
            bound=0.9,
            interval="low",
            note="Why.",
        ),
    )
)


def made_up_trace(seam_id: str) -> SeamTrace:
    """A seam of 400 mm with two peaks."""
    rng = np.random.default_rng(7)
    x = 0.5 * np.arange(801)
    bells = 20 * np.exp(-0.5 * ((x - 120) / 4) ** 2) + 5 * np.exp(-0.5 * ((x - 260) / 4) ** 2)
    amplitudes = {
        "specular": (7.0 + rng.normal(0, 0.2, 801) + bells).astype(np.float32),
        "scatter": np.clip(0.6 + rng.normal(0, 0.1, 801) + bells / 5, 0, 100).astype(np.float32),
    }
    return SeamTrace(seam_id, WHEN, "line-1", "R1", 0.0, 0.5, amplitudes)


@pytest.fixture(scope="session")
def analyse() -> Callable[[str], SeamAnalysis]:
    """Every seam looks the same under its own name."""
    limits = RecipeLimits("R1", dict.fromkeys(CHANNELS, 20.0), 10.0, 10.0, 9.4)
    return lambda seam_id: analyse_seam(made_up_trace(seam_id), limits)


def _judged(hostile: str) -> pd.DataFrame:
    def row(number: int, scope: str, truth: str, answer: str, outcome: str) -> dict[str, object]:
        missed = answer == "missed"
        return {
            "section_id": f"S-{number:03d}",
            "seam_id": hostile if number == 2 else f"MB-{number:04d}",
            "scope": scope,
            "position_mm": 120.0,
            "tolerance_mm": 3.0,
            "truth": truth,
            "answer": answer,
            "outcome": outcome,
            "top_label": None if missed else answer,
            "top_probability": np.nan if missed else 0.61,
            "label_set": None if missed else answer,
            "indication": np.nan if missed else 0.0,
            "reason": "",
        }

    return pd.DataFrame(
        [
            row(1, "held_out", "edge_notch", "pinhole", "wrong"),
            row(2, "held_out", "pinhole", "missed", "missed"),
            row(3, "held_out", "pinhole", "pinhole", "right"),
            row(4, "cross_validated", "mismatch", "lack_of_fusion", "wrong"),
        ]
    )


def make_source(analyse: Callable[[str], SeamAnalysis], hostile: str = "MB-1815") -> DossierSource:
    """The source of a made-up dossier; `hostile` stands wherever a name comes from outside."""
    evaluation, record = make_evaluation(hostile), make_record(hostile)
    table = pd.DataFrame(
        {
            "section_id": ["S-001", "S-002"],
            "seam_id": ["MB-0001", hostile],
            "examiner": ["examiner-1", hostile],
            "sectioned_on": ["2026-03-05", ""],
        }
    )
    return DossierSource(
        shop="Marram Bay Carriage Works" if hostile == "MB-1815" else hostile,
        evaluation=evaluation,
        acceptance=record,
        evaluation_digest="45" * 32,
        acceptance_digest="46" * 32,
        sections_csv_digest="47" * 32,
        card=make_card(),
        judged=_judged(hostile),
        section_table=table,
        needed=needed_sections(CRITERIA, evaluation, record, approved_model_id="m-0003"),
        criteria_digest="0a" * 32,
        log=(make_entry(by=hostile, reason=hostile) if hostile == HOSTILE else make_entry(),),
        made_at=MADE,
        software_version="0.1.0",
        analyse=analyse,
    )


@pytest.fixture(scope="session")
def source(analyse: Callable[[str], SeamAnalysis]) -> DossierSource:
    """The source of a made-up dossier of an approved model."""
    return make_source(analyse)


@pytest.fixture(scope="session")
def content(source: DossierSource) -> DossierContent:
    """The content made from it."""
    return arrange(source)


@pytest.fixture(scope="session")
def hostile_content(analyse: Callable[[str], SeamAnalysis]) -> DossierContent:
    """The same with names that try to act."""
    return arrange(make_source(analyse, HOSTILE))


@pytest.fixture(scope="session")
def bare_content(source: DossierSource) -> DossierContent:
    """A record that holds nothing but what every evaluation has, of a model that nobody signed."""
    empty = source.acceptance.model_copy(
        update={
            "detection": (),
            "miss_rates": (),
            "tolerance": (),
            "agreement": None,
            "label_errors": (),
            "comparisons": (),
            "strata": (),
            "stratum_tests": (),
            "simultaneous": (),
            "costs": (),
            "cost_table": None,
            "weighted_kappa": NOTHING_CUT,
            "warnings": (),
        }
    )
    return arrange(replace(source, acceptance=empty, log=()))
