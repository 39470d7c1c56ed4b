"""What an evaluation says: the exact schema of ``evaluation.json``.

Every figure is an `Estimate` with its number of cases and its interval. A figure
that the data cannot give has ``estimate = null`` and says why in ``unknown``; it
is never written as zero.
"""

from __future__ import annotations

from datetime import datetime
from enum import StrEnum

from pydantic import BaseModel, ConfigDict

from seamtell.features.contracts import UNCLASSIFIED, Flaw

__all__ = [
    "EVALUATION_SCHEMA_VERSION",
    "MATRIX_COLUMNS",
    "MATRIX_ROWS",
    "MISSED",
    "SECTION_COLUMNS",
    "AbstentionCount",
    "CandidateFigures",
    "ClassDetection",
    "ClassFigures",
    "ConfusionMatrix",
    "DescriptorImportance",
    "Estimate",
    "EvaluationResult",
    "FamilyImportance",
    "LimitRuleFigures",
    "Outcome",
    "PurposeFigures",
    "ReliabilityBin",
    "ReviewCost",
    "Scope",
    "ScopeResult",
    "SetCoverage",
]

EVALUATION_SCHEMA_VERSION = 1

MISSED = "missed"
"""Column of the matrix for sections without an indication.

For a flaw that is an error. For truth ``sound`` it is right: nothing is there
and nothing was indicated.
"""

MATRIX_ROWS: tuple[str, ...] = tuple(flaw.value for flaw in Flaw)
MATRIX_COLUMNS: tuple[str, ...] = (*MATRIX_ROWS, UNCLASSIFIED, MISSED)


class Scope(StrEnum):
    """Which sections a figure rests on."""

    HELD_OUT = "held_out"
    """The newest sections, of groups that no training saw."""
    CROSS_VALIDATED = "cross_validated"
    """The training sections, each answered by a model that did not see its group."""


class Outcome(StrEnum):
    """What became of one section."""

    RIGHT = "right"
    WRONG = "wrong"
    ABSTAINED = "abstained"
    """Indicated; the model gave no label, the limit rule alone speaks."""
    MISSED = "missed"
    """A flaw without an indication of its own."""
    QUIET = "quiet"
    """Sound, and nothing was indicated: right, but no work of the classifier."""
    SHARED = "shared"
    """Lies in an indication that another section already judges; counted once, so left out here."""
    LEFT_OUT = "left_out"
    """Cannot be judged, for example because the seam has conflicting traces."""


SECTION_COLUMNS: tuple[str, ...] = (
    "section_id",
    "seam_id",
    "scope",
    "purpose",
    "recipe",
    "welded_at",
    "group",
    "position_mm",
    "tolerance_mm",
    "truth",
    "answer",
    "outcome",
    "top_label",
    "top_probability",
    "label_set",
    "novelty_p",
    "indication",
    "start_mm",
    "end_mm",
    "distance_mm",
    "limit_exceeded",
    "reason",
)
"""Columns of ``sections.csv``, one row a section.

``answer`` is a label, ``unclassified`` or ``missed``; ``top_label`` and
``top_probability`` are the label forced from the highest probability, also where
the model abstained; ``indication``, ``start_mm``, ``end_mm`` and ``distance_mm``
are empty where no indication matched; ``label_set`` is joined with ``+``.
"""


class _Figures(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class Estimate(_Figures):
    """One figure with the number of cases it rests on and its interval.

    Examples
    --------
    >>> print(Estimate(n=112, count=102, estimate=0.911, low=0.842, high=0.956))
    0.91 [0.84, 0.96] n = 112
    >>> print(Estimate(n=0, unknown="nothing unflagged was cut"))
    unknown (nothing unflagged was cut)
    """

    n: int
    """Cases (sections, seams or groups) that the figure rests on."""
    estimate: float | None = None
    low: float | None = None
    high: float | None = None
    count: int | None = None
    """For a share: how many of the `n` cases; else empty."""
    level: float = 0.95
    method: str = ""
    """How the interval was made."""
    unknown: str = ""
    """Why there is no figure; empty where there is one."""

    def __str__(self) -> str:
        if self.estimate is None:
            return f"unknown ({self.unknown})" if self.unknown else "unknown"
        if self.low is None or self.high is None:
            return f"{self.estimate:.2f} [no interval] n = {self.n}"
        return f"{self.estimate:.2f} [{self.low:.2f}, {self.high:.2f}] n = {self.n}"


class ConfusionMatrix(_Figures):
    """Counts of sections: truth in rows, answer in columns."""

    rows: tuple[str, ...] = MATRIX_ROWS
    columns: tuple[str, ...] = MATRIX_COLUMNS
    counts: tuple[tuple[int, ...], ...]

    def count(self, truth: str, answer: str) -> int:
        """Count of one cell by its names."""
        return self.counts[self.rows.index(truth)][self.columns.index(answer)]


class ClassFigures(_Figures):
    """How well one class is told."""

    label: str
    sections: int
    """All judged sections with this truth."""
    indicated: int
    """Those with an indication."""
    recall: Estimate
    """Right among all sections of the class; abstained and missed count against it.

    For ``sound`` among the indicated ones only: the rest is no work of the classifier.
    """
    recall_answered: Estimate
    """Right among those that got a label."""
    precision: Estimate
    """Right among the sections labelled so; depends on which sections were cut."""
    missed: Estimate
    """Sections of a flaw without an indication of their own; not given for ``sound``."""
    abstained: Estimate
    """Indicated sections without a label."""


class ReliabilityBin(_Figures):
    """Sections whose top probability lies in one bin: stated against seen."""

    low_edge: float
    high_edge: float
    mean_probability: float
    right: Estimate


class SetCoverage(_Figures):
    """How often the conformal set of a class's sections holds the truth."""

    label: str
    coverage: Estimate
    aimed: float
    """One minus the error rate that the sets were made for."""
    mean_set_size: float | None = None


class AbstentionCount(_Figures):
    """Indicated sections without a label, by reason."""

    reason: str
    count: int


class CandidateFigures(_Figures):
    """One candidate on the same sections: forced label, no abstention, calibrated as it would be in use."""

    name: str
    chosen: bool
    macro_f1: Estimate
    kappa: Estimate
    log_loss: Estimate


class ClassDetection(_Figures):
    """The limit rule on the sections of one flaw."""

    label: str
    detected: Estimate


class LimitRuleFigures(_Figures):
    """The limit rule alone: it detects, it never names."""

    detections: Estimate
    """Flaw sections at which a limit is exceeded."""
    false_calls: Estimate
    """Sound sections at which a limit is exceeded."""
    by_class: tuple[ClassDetection, ...]
    unlabelled: int
    """Detections that the limit rule leaves without a name: all of them."""


class PurposeFigures(_Figures):
    """Sections apart by why they were cut: targeted cuts overrate detection."""

    purpose: str
    sections: int
    flaws: int
    unflagged: int
    """Sections cut where nothing was indicated."""
    missed: Estimate
    """Missed flaws among the flaws found; unknown where nothing unflagged was cut."""
    right: Estimate
    """Right labels among indicated sections."""


class ReviewCost(_Figures):
    """What the classifier's requests for review cost and catch, among seams that the limit rule accepts."""

    labels: dict[str, float]
    """Label to the least probability that asks for a review (``[review]`` of the settings)."""
    novel: bool
    asked: Estimate
    """Share of accepted held-out seams for which a review is asked, sectioned or not."""
    needless: Estimate
    """Among those that were sectioned: share with sound sections only."""
    needless_per_1000: Estimate
    """Needless reviews per 1,000 seams: product of the two shares, of all seams of the period."""
    caught: Estimate
    """Flaw sections below the limit, of the review labels, on seams for which a review is asked."""


class DescriptorImportance(_Figures):
    """How much worse the log loss gets when one descriptor is shuffled."""

    name: str
    family: str
    unit: str
    meaning: str
    log_loss_increase: Estimate


class FamilyImportance(_Figures):
    """The same with all descriptors of a family shuffled together."""

    family: str
    descriptors: int
    log_loss_increase: Estimate


class ScopeResult(_Figures):
    """All figures on one set of sections."""

    scope: Scope
    sections: int
    """All sections of the scope."""
    judged: int
    """Those in the matrix."""
    shared: int
    left_out: int
    groups: int
    """Coils (seams where the coil is unknown)."""
    first_welded_at: datetime | None
    last_welded_at: datetime | None
    matrix: ConfusionMatrix
    per_class: tuple[ClassFigures, ...]
    macro_f1: Estimate
    """Forced label; over flaws and indicated sound sections; a missed flaw counts as wrong."""
    macro_f1_with_abstention: Estimate
    """The same rows with the answers as given; no label counts as wrong."""
    kappa: Estimate
    """Cohen's kappa of truth and forced label on the same rows."""
    log_loss: Estimate
    """Indicated sections of known classes."""
    reliability: tuple[ReliabilityBin, ...]
    set_coverage: tuple[SetCoverage, ...]
    abstention: Estimate
    """Indicated sections without a label."""
    abstentions: tuple[AbstentionCount, ...]
    missed: Estimate
    """Missed among all flaws found. Rests mostly on targeted cuts: see `by_purpose`."""
    quiet: int
    """Sound sections where nothing was indicated."""
    by_purpose: tuple[PurposeFigures, ...]
    limit_rule: LimitRuleFigures
    side_by_side: tuple[CandidateFigures, ...]


class EvaluationResult(_Figures):
    """The whole of ``evaluation.json``."""

    schema_version: int = EVALUATION_SCHEMA_VERSION
    model_id: str
    model_digest: str
    candidate: str
    """The candidate that the model answers with."""
    classes: tuple[str, ...]
    left_out_classes: tuple[str, ...]
    """Classes that the model was not taught: too few sections."""
    sections_digest: str
    traces_digest: str
    """Over the traces of the sectioned seams."""
    limits_digest: str
    settings_digest: str
    """Over the settings that shape the evaluation."""
    software_version: str
    evaluated_at: datetime
    seed: int
    draws: int
    """Bootstrap draws."""
    held_out: ScopeResult
    cross_validated: ScopeResult
    review_cost: ReviewCost
    descriptors: tuple[DescriptorImportance, ...]
    """The descriptors that matter most, on the held-out sections."""
    families: tuple[FamilyImportance, ...]
    notes: tuple[str, ...]
    """What a reader must know: left-out classes, unknown figures, small samples."""

    def scope(self, scope: Scope) -> ScopeResult:
        """Figures of one scope."""
        return self.held_out if scope is Scope.HELD_OUT else self.cross_validated
