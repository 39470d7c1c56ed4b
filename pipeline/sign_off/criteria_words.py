"""Each criterion as a sentence."""

from __future__ import annotations

from seamtell.features.contracts import Flaw
from seamtell.pipeline.acceptance.detectors import SIZES_OF, Detector
from seamtell.pipeline.evaluation.result import Scope
from seamtell.pipeline.sign_off.criteria import ALL_SECTIONS, EACH_CLASS, EACH_FLAW, Criterion
from seamtell.pipeline.sign_off.statistics import IntervalSide, Statistic

__all__ = ["explain"]

_SCOPE_WORDS = {
    ALL_SECTIONS: "over all sections",
    EACH_FLAW: "for each flaw by itself",
    EACH_CLASS: "for each class by itself, sound included",
}
_SECTIONS_WORDS = {
    Scope.HELD_OUT: "on the held-out sections",
    Scope.CROSS_VALIDATED: "on the cross-validated sections",
}
_NO_MODEL = "on all sections, since no model is needed"
_WHERE = {
    Statistic.MISS_RATE_CORRECTED: _NO_MODEL,
    Statistic.A90_95_MM: _NO_MODEL,
    Statistic.WARNINGS: "in the acceptance record",
    Statistic.KRIPPENDORFF_ALPHA: "on the sections that several examiners read",
}


def explain(criterion: Criterion) -> str:
    """The criterion as a sentence.

    Examples
    --------
    >>> print(explain(Criterion(id="k", statistic="kappa", bound=0.6, interval="low")))
    k: on the held-out sections, over all sections, the agreement beyond chance (Cohen's kappa)
    must be at least 0.6 at the low end of its 95 % interval.
    """
    where = _WHERE.get(criterion.statistic, _SECTIONS_WORDS[criterion.sections])
    scope = _SCOPE_WORDS.get(criterion.scope, f"for {criterion.scope}")
    if criterion.stratum:
        kind, _, value = criterion.stratum.partition("=")
        scope = f"over those of {kind.replace('_', ' ')} {value}"
    if criterion.statistic in _WHERE and criterion.scope == ALL_SECTIONS:
        scope = "of all classes together"
    if criterion.statistic is Statistic.WARNINGS:
        scope = "whatever the class"
    relation = "at most" if criterion.statistic.at_most else "at least"
    sentence = (
        f"{criterion.id}: {where}, {scope}, the {criterion.statistic.words} "
        f"must be {relation} {criterion.bound:g}{_end(criterion)}."
    )
    return " ".join(part for part in (sentence, _remark(criterion), criterion.note) if part)


def _end(criterion: Criterion) -> str:
    if criterion.statistic in (Statistic.SECTIONS, Statistic.WARNINGS, Statistic.A90_95_MM):
        return ""
    if criterion.interval is IntervalSide.ESTIMATE:
        return " as estimated, whatever the interval"
    return f" at the {criterion.interval} end of its {100 * criterion.level:g} % interval"


def _remark(criterion: Criterion) -> str:
    """What must be known to read the figure."""
    statistic = criterion.statistic
    if statistic is Statistic.A90_95_MM:
        detector = criterion.detector or Detector.EITHER
        curves = "the worse of the logit and the probit curve counts"
        return f"A hit is {detector.words}, by {_sizes(criterion)}; {curves}."
    if statistic is Statistic.MISS_RATE_CORRECTED:
        return "Where few random cuts met a miss, the exact bound counts."
    if statistic.against_approved:
        if criterion.bound > 0:
            return "It asks the model to be better; without an approved model it does not apply."
        return (
            f"A loss of up to {-criterion.bound:g} is allowed; without an approved model it does not apply."
        )
    return ""


def _sizes(criterion: Criterion) -> str:
    named = {label: criterion.size or SIZES_OF[Flaw(label)][0] for label in criterion.labels}
    words = [f"{size.removesuffix('_mm')} of {label.replace('_', ' ')}" for label, size in named.items()]
    return " or ".join(f"the {one}" for one in words)
