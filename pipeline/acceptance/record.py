"""What the acceptance statistics say of one model: the exact schema of ``acceptance.json``.

It stands beside ``evaluation.json`` and rests on the same sections. A figure that the data
cannot give has no estimate and says why; it is never written as zero.
"""

from __future__ import annotations

from enum import StrEnum

from pydantic import BaseModel, ConfigDict

from seamtell.pipeline.acceptance.cost_table import CostTable
from seamtell.pipeline.evaluation.result import Estimate, Scope

__all__ = [
    "ACCEPTANCE_SCHEMA_VERSION",
    "AcceptanceRecord",
    "AgreementFigures",
    "ClassBound",
    "Comparison",
    "ConcernText",
    "CostCurve",
    "CostFigures",
    "Detection",
    "DetectionPoint",
    "LabelErrorFigures",
    "MissRate",
    "Rival",
    "Stratum",
    "StratumTest",
    "ToleranceCurve",
    "ToleranceFigure",
]

ACCEPTANCE_SCHEMA_VERSION = 1


class _Figures(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class ConcernText(_Figures):
    """One doubt about a figure, in words; a refusal takes the figure away."""

    doubt: str
    text: str
    refusal: bool


class DetectionPoint(_Figures):
    """One sized flaw: what the section measured, and whether it was indicated."""

    section_id: str
    size_mm: float
    hit: bool


class Detection(_Figures):
    """Probability of detection over flaw size, one class and one way to detect."""

    label: str
    detector: str
    """``specular``, ``scatter`` (an indication on that channel), ``either``, or ``limit_rule``."""
    size: str
    """What the size is: ``length_mm``, ``depth_mm`` or ``width_mm`` of the section."""
    link: str
    points: tuple[DetectionPoint, ...]
    sections_without_size: int
    penalised: bool
    intercept: float | None = None
    slope: float | None = None
    a50_mm: float | None = None
    a90_mm: float | None = None
    a90_95_mm: float | None = None
    sizes_mm: tuple[float, ...] = ()
    pod: tuple[float, ...] = ()
    pod_low: tuple[float, ...] = ()
    fit_p: float | None = None
    asymptote: float | None = None
    asymptote_p: float | None = None
    concerns: tuple[ConcernText, ...] = ()
    words: str = ""
    """Which sections it rests on, and what their choice does to it."""


class MissRate(_Figures):
    """Share of the flaws of one class that raise no indication, with the choice of cuts undone."""

    label: str
    """A flaw, or ``all``."""
    as_cut: Estimate
    """Among all sections, as if they had been drawn at random."""
    corrected: Estimate
    """Weighted by how the sections were chosen; unknown where nothing unflagged was cut."""
    exact_low: float | None = None
    exact_high: float | None = None
    """What the data support at all: exact bounds from the random cuts and the production counts."""
    random_cuts: int
    """Random cuts where nothing was indicated."""
    random_misses: int
    """Flaws of the class among them."""
    random_cuts_wanted: int | None = None
    """How many random cuts without a miss would bound the rate to ten percent."""
    bounds_only: bool
    """The corrected point is unstable: read the bounds."""
    words: str


class ToleranceFigure(_Figures):
    """One headline figure at one position tolerance."""

    extra_tolerance_mm: float
    figure: Estimate


class ToleranceCurve(_Figures):
    """A headline figure against the tolerance with which sections meet indications."""

    name: str
    in_use_mm: float
    figures: tuple[ToleranceFigure, ...]


class AgreementFigures(_Figures):
    """How well examiners agree where several read the same section."""

    sections: int
    """Read by two or more."""
    readings: int
    examiners: int
    cohen_kappa: Estimate
    """Mean over pairs of examiners."""
    fleiss_kappa: Estimate
    krippendorff_alpha: Estimate


class LabelErrorFigures(_Figures):
    """What a figure would be if a stated share of the section labels were wrong."""

    label_error: float
    macro_f1_low: float
    macro_f1_high: float
    recall_low: dict[str, float]
    recall_high: dict[str, float]
    macro_f1_random: float | None = None
    """Expected with right labels, if the wrong ones arose at random; the bounds are the worst case."""
    recall_random: dict[str, float] = {}


class Rival(StrEnum):
    """What the model is compared with on the same sections."""

    LIMIT_RULE = "limit_rule"
    APPROVED = "approved"


class Comparison(_Figures):
    """The model against a rival on the same sections."""

    rival: Rival
    model_id: str
    """Of the approved model; empty for the limit rule."""
    figure: str
    """``right`` (labelled right), ``detected``, ``macro_f1`` or ``expected_cost``."""
    sections: int
    only_model: int | None = None
    only_rival: int | None = None
    """Sections right for one of the two only."""
    p_exact: float | None = None
    """Exact McNemar, two-sided."""
    difference: Estimate
    """Model less rival; bootstrap over groups, paired."""
    margin: float | None = None
    """Greatest loss that the criteria allow."""
    non_inferior: bool | None = None


class Stratum(_Figures):
    """One slice of the sections."""

    by: str
    """``recipe``, ``line``, ``thickness_pair``, ``speed`` or ``period``."""
    value: str
    sections: int
    right: Estimate
    """Labelled right among the indicated; unknown with too few sections."""
    missed: Estimate
    """Flaws without an indication."""
    abstained: Estimate


class StratumTest(_Figures):
    """Whether a figure differs between the strata of one kind."""

    by: str
    figure: str
    strata: int
    p: float | None
    p_adjusted: float | None
    """Holm, over all tests of the record."""
    method: str
    words: str


class ClassBound(_Figures):
    """A statement that holds for all classes at once."""

    label: str
    recall: Estimate
    level_each: float
    method: str


class CostCurve(_Figures):
    """Expected cost over the least probability that a label needs."""

    thresholds: tuple[float, ...]
    per_1000: tuple[float, ...]


class CostFigures(_Figures):
    """What a candidate's answers cost, by the cost table of the criteria; the limit rule untouched."""

    candidate: str
    chosen: bool
    per_1000: Estimate
    """Expected cost per 1,000 sectioned indications at the best threshold."""
    best_threshold: float
    curve: CostCurve


class AcceptanceRecord(_Figures):
    """The whole of ``acceptance.json``."""

    schema_version: int = ACCEPTANCE_SCHEMA_VERSION
    model_id: str
    model_digest: str
    evaluation_digest: str
    """Of the evaluation that it goes with."""
    scope: Scope
    """Sections that the figures rest on, where a figure does not say otherwise."""
    detection: tuple[Detection, ...]
    miss_rates: tuple[MissRate, ...]
    tolerance: tuple[ToleranceCurve, ...]
    agreement: AgreementFigures | None
    """None when no section was read twice."""
    label_errors: tuple[LabelErrorFigures, ...]
    comparisons: tuple[Comparison, ...]
    strata: tuple[Stratum, ...]
    stratum_tests: tuple[StratumTest, ...]
    simultaneous: tuple[ClassBound, ...]
    costs: tuple[CostFigures, ...]
    weighted_kappa: Estimate
    warnings: tuple[str, ...]
    """For example that the performance is implausibly good."""
    approved_model_id: str = ""
    """Approved when this was evaluated; empty for none, or where this model is that one."""
    not_compared: str = ""
    """Why the approved model could not be compared; empty where it was, or where there is none."""
    cost_table: CostTable | None = None
    """None where the criteria have no ``[costs]``: there are no costs then."""
