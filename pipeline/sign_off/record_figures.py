"""The figure of a criterion that stands in the acceptance record."""

from __future__ import annotations

from seamtell.features.contracts import Flaw
from seamtell.pipeline.acceptance.detectors import SIZES_OF, Detector
from seamtell.pipeline.acceptance.record import AcceptanceRecord, Detection, MissRate, Rival
from seamtell.pipeline.evaluation.intervals import unknown
from seamtell.pipeline.evaluation.result import Estimate
from seamtell.pipeline.sign_off.criteria import Criterion
from seamtell.pipeline.sign_off.statistics import Statistic

__all__ = ["counted", "record_figure", "stratum_figure"]

_RIVAL_FIGURE = {Statistic.MACRO_F1_VS_APPROVED: "macro_f1", Statistic.RIGHT_VS_APPROVED: "right"}


def counted(n: int) -> Estimate:
    """A number that was counted."""
    return Estimate(n=n, estimate=float(n), low=float(n), high=float(n), method="counted")


def record_figure(
    criterion: Criterion, label: str, record: AcceptanceRecord, approved_model_id: str
) -> Estimate:
    """The figure of `criterion` for one class, or for all together with an empty `label`.

    Parameters
    ----------
    approved_model_id : str
        Approved now; a comparison with another one does not count.
    """
    statistic = criterion.statistic
    if statistic is Statistic.A90_95_MM:
        return _worst_size(criterion, label, record)
    if statistic is Statistic.MISS_RATE_CORRECTED:
        found = [one for one in record.miss_rates if one.label == (label or "all")]
        return _miss_figure(found[0]) if found else unknown("not in the acceptance record")
    if statistic is Statistic.RECALL_SIMULTANEOUS:
        recalls = [one.recall for one in record.simultaneous if one.label == label]
        return recalls[0] if recalls else unknown("no section of this class")
    if statistic is Statistic.WARNINGS:
        return counted(len(record.warnings))
    if statistic is Statistic.WEIGHTED_KAPPA:
        return record.weighted_kappa
    if statistic is Statistic.KRIPPENDORFF_ALPHA:
        agreed = record.agreement
        return unknown("no section was read twice") if agreed is None else agreed.krippendorff_alpha
    if statistic is Statistic.EXPECTED_COST_PER_1000:
        chosen = [one.per_1000 for one in record.costs if one.chosen]
        return chosen[0] if chosen else unknown("evaluated with another cost table, or none: evaluate again")
    return _difference(_RIVAL_FIGURE[statistic], record, approved_model_id)


def stratum_figure(criterion: Criterion, record: AcceptanceRecord) -> Estimate:
    """The figure of `criterion` in its stratum."""
    by, _, value = criterion.stratum.partition("=")
    found = [one for one in record.strata if one.by == by and one.value == value]
    if not found:
        have = ", ".join(one.value for one in record.strata if one.by == by)
        return unknown(f"no section of this stratum{f'; there is {have}' if have else ''}")
    stratum = found[0]
    return {
        Statistic.SECTIONS: counted(stratum.sections),
        Statistic.RIGHT: stratum.right,
        Statistic.MISSED_SHARE: stratum.missed,
        Statistic.ABSTENTION_RATE: stratum.abstained,
    }[criterion.statistic]


def _worst_size(criterion: Criterion, label: str, record: AcceptanceRecord) -> Estimate:
    """The larger a90/95 of the curves with either link; unknown where one of them has none."""
    size = criterion.size or SIZES_OF[Flaw(label)][0]
    detector = criterion.detector or Detector.EITHER
    curves = [
        one
        for one in record.detection
        if (one.label, one.detector, one.size) == (label, detector.value, size.value)
    ]
    if not curves:
        return unknown("not in the acceptance record")
    n = len(curves[0].points)
    for curve in curves:
        if curve.a90_95_mm is None:
            return unknown(_why_none(curve), n=n)
    worst = max(one.a90_95_mm for one in curves if one.a90_95_mm is not None)
    method = "likelihood ratio, one-sided 95 %; the worse of " + " and ".join(one.link for one in curves)
    return Estimate(n=n, estimate=worst, high=worst, method=method)


def _why_none(curve: Detection) -> str:
    refusals = [one.text for one in curve.concerns if one.refusal]
    return "; ".join(refusals) or "the data carry no a90/95"


def _miss_figure(rate: MissRate) -> Estimate:
    """The corrected rate; where the data support bounds only, those stand in for its interval."""
    if not rate.bounds_only and rate.corrected.estimate is not None:
        return rate.corrected
    if rate.exact_high is None:
        return unknown(rate.corrected.unknown or rate.words, n=rate.corrected.n)
    return Estimate(
        n=rate.corrected.n,
        low=rate.exact_low,
        high=rate.exact_high,
        level=rate.corrected.level,
        method="exact bounds",
        unknown="few random cuts met a miss: the bounds are all that the data support",
    )


def _difference(figure: str, record: AcceptanceRecord, approved_model_id: str) -> Estimate:
    found = [
        one.difference
        for one in record.comparisons
        if one.rival is Rival.APPROVED and one.figure == figure and one.model_id == approved_model_id
    ]
    if found:
        return found[0]
    if record.not_compared:
        return unknown(record.not_compared)
    return unknown(f"not compared with '{approved_model_id}', approved now: evaluate again")
