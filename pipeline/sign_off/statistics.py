"""What a criterion can look at, and where each figure stands."""

from __future__ import annotations

from enum import StrEnum

from seamtell.pipeline.acceptance.strata import StratumKind

__all__ = ["STRATUM_KINDS", "IntervalSide", "Statistic"]

STRATUM_KINDS: tuple[str, ...] = tuple(kind.value for kind in StratumKind)
"""By what sections are sorted into strata."""


class IntervalSide(StrEnum):
    """Which number of a figure must keep the bound."""

    LOW = "low"
    HIGH = "high"
    ESTIMATE = "estimate"


class Statistic(StrEnum):
    """What a criterion looks at."""

    RECALL = "recall"
    RECALL_ANSWERED = "recall_answered"
    RECALL_SIMULTANEOUS = "recall_simultaneous"
    PRECISION = "precision"
    SET_COVERAGE = "set_coverage"
    SECTIONS = "sections"
    RIGHT = "right"
    MISSED_SHARE = "missed_share"
    MISS_RATE_CORRECTED = "miss_rate_corrected"
    A90_95_MM = "a90_95_mm"
    ABSTENTION_RATE = "abstention_rate"
    KAPPA = "kappa"
    WEIGHTED_KAPPA = "weighted_kappa"
    KRIPPENDORFF_ALPHA = "krippendorff_alpha"
    MACRO_F1 = "macro_f1"
    MACRO_F1_WITH_ABSTENTION = "macro_f1_with_abstention"
    MACRO_F1_VS_APPROVED = "macro_f1_vs_approved"
    RIGHT_VS_APPROVED = "right_vs_approved"
    EXPECTED_COST_PER_1000 = "expected_cost_per_1000"
    LOG_LOSS = "log_loss"
    WARNINGS = "warnings"

    @property
    def at_most(self) -> bool:
        """Whether the bound is an upper one: the smaller the better."""
        return self in _AT_MOST

    @property
    def words(self) -> str:
        """The statistic in words."""
        return _WORDS[self]

    @property
    def by_class(self) -> bool:
        """Whether there is a figure of one class."""
        return self in _OF_CLASS or self in _OF_BOTH

    @property
    def of_all(self) -> bool:
        """Whether there is a figure of all sections together."""
        return self not in _OF_CLASS

    @property
    def in_stratum(self) -> bool:
        """Whether there is a figure of one stratum."""
        return self in _IN_STRATUM

    @property
    def in_record(self) -> bool:
        """Whether the figure stands in the acceptance record, not in the evaluation."""
        return self in _IN_RECORD

    @property
    def one_level(self) -> bool:
        """Whether the figure is stored with one level only."""
        return self in _RESAMPLED or self in _IN_RECORD

    @property
    def against_approved(self) -> bool:
        """Whether it compares with the approved model."""
        return self in (Statistic.MACRO_F1_VS_APPROVED, Statistic.RIGHT_VS_APPROVED)


_WORDS = {
    Statistic.RECALL: "share labelled right (abstained and missed count against it)",
    Statistic.RECALL_ANSWERED: "share labelled right among those that got a label",
    Statistic.RECALL_SIMULTANEOUS: "share labelled right (its interval holds for all classes at once)",
    Statistic.PRECISION: "share of right labels among the sections labelled so",
    Statistic.SET_COVERAGE: "share of label sets that hold the truth",
    Statistic.SECTIONS: "number of sections",
    Statistic.RIGHT: "share labelled right among the indicated sections",
    Statistic.MISSED_SHARE: "share of flaws without an indication",
    Statistic.MISS_RATE_CORRECTED: "share of flaws without an indication, the choice of cuts undone,",
    Statistic.A90_95_MM: "size in mm from which 90 % are detected with 95 % confidence",
    Statistic.ABSTENTION_RATE: "share of indicated sections without a label",
    Statistic.KAPPA: "agreement beyond chance (Cohen's kappa)",
    Statistic.WEIGHTED_KAPPA: "agreement beyond chance, grave confusions weighing more (weighted kappa),",
    Statistic.KRIPPENDORFF_ALPHA: "agreement of the examiners with each other (Krippendorff's alpha)",
    Statistic.MACRO_F1: "macro-F1 without abstention",
    Statistic.MACRO_F1_WITH_ABSTENTION: "macro-F1 of the answers as given",
    Statistic.MACRO_F1_VS_APPROVED: "macro-F1 less that of the approved model on the same sections",
    Statistic.RIGHT_VS_APPROVED: "share labelled right less that of the approved model on the same sections",
    Statistic.EXPECTED_COST_PER_1000: "expected cost per 1,000 sectioned indications",
    Statistic.LOG_LOSS: "log loss",
    Statistic.WARNINGS: "number of warnings that the performance is too good to be true",
}
_AT_MOST = {
    Statistic.MISSED_SHARE,
    Statistic.MISS_RATE_CORRECTED,
    Statistic.A90_95_MM,
    Statistic.ABSTENTION_RATE,
    Statistic.EXPECTED_COST_PER_1000,
    Statistic.LOG_LOSS,
    Statistic.WARNINGS,
}
_OF_CLASS = {
    Statistic.RECALL,
    Statistic.RECALL_ANSWERED,
    Statistic.RECALL_SIMULTANEOUS,
    Statistic.PRECISION,
    Statistic.SET_COVERAGE,
    Statistic.A90_95_MM,
}
_OF_BOTH = {
    Statistic.MISSED_SHARE,
    Statistic.MISS_RATE_CORRECTED,
    Statistic.ABSTENTION_RATE,
    Statistic.SECTIONS,
}
_IN_STRATUM = {Statistic.SECTIONS, Statistic.RIGHT, Statistic.MISSED_SHARE, Statistic.ABSTENTION_RATE}
_RESAMPLED = {Statistic.KAPPA, Statistic.MACRO_F1, Statistic.MACRO_F1_WITH_ABSTENTION, Statistic.LOG_LOSS}
_IN_RECORD = {
    Statistic.RECALL_SIMULTANEOUS,
    Statistic.MISS_RATE_CORRECTED,
    Statistic.A90_95_MM,
    Statistic.WEIGHTED_KAPPA,
    Statistic.KRIPPENDORFF_ALPHA,
    Statistic.MACRO_F1_VS_APPROVED,
    Statistic.RIGHT_VS_APPROVED,
    Statistic.EXPECTED_COST_PER_1000,
    Statistic.WARNINGS,
}
