"""What the quality engineer requires before approval: ``criteria.toml``, read and explained."""

from __future__ import annotations

import hashlib
from enum import StrEnum
from pathlib import Path

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from seamtell.features.contracts import Flaw
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.evaluation.intervals import DEFAULT_LEVEL
from seamtell.pipeline.evaluation.result import Scope
from seamtell.pipeline.versioned_toml import (
    complaint_text,
    first_complaint,
    main_complaint,
    read_versioned_toml,
)

__all__ = [
    "ALL_SECTIONS",
    "EACH_CLASS",
    "EACH_FLAW",
    "Criteria",
    "Criterion",
    "IntervalSide",
    "Statistic",
    "explain",
    "read_criteria",
]

CRITERIA_SCHEMA_VERSION = 1

ALL_SECTIONS = "all"
EACH_FLAW = "each_flaw"
EACH_CLASS = "each_class"
_LABELS = tuple(flaw.value for flaw in Flaw)
_FLAWS = tuple(label for label in _LABELS if label != Flaw.SOUND)
_SCOPES = (ALL_SECTIONS, EACH_FLAW, EACH_CLASS, *_LABELS)


class IntervalSide(StrEnum):
    """Which number of a figure must keep the bound."""

    LOW = "low"
    HIGH = "high"
    ESTIMATE = "estimate"


class Statistic(StrEnum):
    """What a criterion looks at."""

    RECALL = "recall"
    RECALL_ANSWERED = "recall_answered"
    PRECISION = "precision"
    SET_COVERAGE = "set_coverage"
    SECTIONS = "sections"
    MISSED_SHARE = "missed_share"
    ABSTENTION_RATE = "abstention_rate"
    KAPPA = "kappa"
    MACRO_F1 = "macro_f1"
    MACRO_F1_WITH_ABSTENTION = "macro_f1_with_abstention"
    LOG_LOSS = "log_loss"

    @property
    def at_most(self) -> bool:
        """Whether the bound is an upper one: the smaller the better."""
        return self in (Statistic.MISSED_SHARE, Statistic.ABSTENTION_RATE, Statistic.LOG_LOSS)

    @property
    def words(self) -> str:
        """The statistic in words."""
        return _WORDS[self]


_WORDS = {
    Statistic.RECALL: "share labelled right (abstained and missed count against it)",
    Statistic.RECALL_ANSWERED: "share labelled right among those that got a label",
    Statistic.PRECISION: "share of right labels among the sections labelled so",
    Statistic.SET_COVERAGE: "share of label sets that hold the truth",
    Statistic.SECTIONS: "number of sections",
    Statistic.MISSED_SHARE: "share of flaws without an indication",
    Statistic.ABSTENTION_RATE: "share of indicated sections without a label",
    Statistic.KAPPA: "agreement beyond chance (Cohen's kappa)",
    Statistic.MACRO_F1: "macro-F1 without abstention",
    Statistic.MACRO_F1_WITH_ABSTENTION: "macro-F1 of the answers as given",
    Statistic.LOG_LOSS: "log loss",
}
_OF_CLASS = {
    Statistic.RECALL,
    Statistic.RECALL_ANSWERED,
    Statistic.PRECISION,
    Statistic.SET_COVERAGE,
    Statistic.SECTIONS,
}
_OF_BOTH = {Statistic.MISSED_SHARE, Statistic.ABSTENTION_RATE, Statistic.SECTIONS}
_RESAMPLED = {Statistic.KAPPA, Statistic.MACRO_F1, Statistic.MACRO_F1_WITH_ABSTENTION, Statistic.LOG_LOSS}
_SCOPE_WORDS = {
    ALL_SECTIONS: "over all sections",
    EACH_FLAW: "for each flaw by itself",
    EACH_CLASS: "for each class by itself, sound included",
}


class Criterion(BaseModel):
    """One requirement."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)

    id: str = Field(min_length=1, pattern=r"^[A-Za-z0-9_.-]+$")
    statistic: Statistic
    scope: str = ALL_SECTIONS
    """``all``, ``each_flaw``, ``each_class`` or one label."""
    sections: Scope = Scope.HELD_OUT
    bound: float
    interval: IntervalSide
    level: float = Field(default=DEFAULT_LEVEL, gt=0, lt=1)
    note: str = ""

    @model_validator(mode="after")
    def _makes_sense(self) -> Criterion:
        if self.scope not in _SCOPES:
            raise ValueError(f"got scope '{self.scope}', expected one of {', '.join(_SCOPES)}")
        by_class = self.scope != ALL_SECTIONS
        fitting = (_OF_CLASS | _OF_BOTH) if by_class else set(Statistic) - (_OF_CLASS - _OF_BOTH)
        if self.statistic not in fitting:
            raise ValueError(f"'{self.statistic}' has no figure for the scope '{self.scope}'")
        lax = IntervalSide.LOW if self.statistic.at_most else IntervalSide.HIGH
        if self.interval is lax:
            raise ValueError(f"the {lax} end of '{self.statistic}' flatters; take the other end")
        if self.statistic is Statistic.SECTIONS and self.interval is not IntervalSide.ESTIMATE:
            raise ValueError('a number of sections has no interval; use interval = "estimate"')
        if self.statistic in _RESAMPLED and self.level != DEFAULT_LEVEL:
            raise ValueError(f"'{self.statistic}' is stored with the level {DEFAULT_LEVEL} only")
        return self

    @property
    def labels(self) -> tuple[str, ...]:
        """The classes that it looks at one by one; empty when it takes all together."""
        every = {ALL_SECTIONS: (), EACH_FLAW: _FLAWS, EACH_CLASS: _LABELS}
        return every.get(self.scope, (self.scope,))


class Criteria(BaseModel):
    """Content of ``criteria.toml``."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    schema_version: int = CRITERIA_SCHEMA_VERSION
    criterion: tuple[Criterion, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _ids_differ(self) -> Criteria:
        ids = [one.id for one in self.criterion]
        twice = sorted({name for name in ids if ids.count(name) > 1})
        if twice:
            raise ValueError(f"the id '{twice[0]}' stands twice")
        return self


def read_criteria(path: Path) -> tuple[Criteria, str]:
    """Read ``criteria.toml`` and return it with the SHA-256 of its bytes.

    Raises
    ------
    BadInput
        Missing, not TOML, an unknown key, or a criterion that makes no sense; names it.
    """
    document, data = read_versioned_toml(path, what="criteria file", version=CRITERIA_SCHEMA_VERSION)
    try:
        return Criteria.model_validate(document), hashlib.sha256(data).hexdigest()
    except ValidationError as problem:
        raise BadInput(_complaint(problem, document), where=str(path), do="mend the key named") from None


def _complaint(problem: ValidationError, document: dict[str, object]) -> str:
    """The first complaint, with the id of the criterion rather than its number."""
    first = main_complaint(problem)
    where = list(first["loc"])
    message = complaint_text(first)
    listed = document.get("criterion")
    if len(where) >= 2 and where[0] == "criterion" and isinstance(listed, list) and isinstance(where[1], int):
        entry = listed[where[1]]
        name = entry.get("id") if isinstance(entry, dict) else None
        key = ".".join(str(part) for part in where[2:])
        return f"criterion '{name or where[1] + 1}'{f', key {key!r}' if key else ''}: {message}"
    return first_complaint(problem)


def explain(criterion: Criterion) -> str:
    """The criterion as a sentence.

    Examples
    --------
    >>> print(explain(Criterion(id="k", statistic="kappa", bound=0.6, interval="low")))
    k: on the held-out sections, over all sections, the agreement beyond chance (Cohen's kappa)
    must be at least 0.6 at the low end of its 95 % interval.
    """
    scope = _SCOPE_WORDS.get(criterion.scope, f"for {criterion.scope}")
    sections = "held-out" if criterion.sections is Scope.HELD_OUT else "cross-validated"
    relation = "at most" if criterion.statistic.at_most else "at least"
    if criterion.statistic is Statistic.SECTIONS:
        end = ""
    elif criterion.interval is IntervalSide.ESTIMATE:
        end = " as estimated, whatever the interval"
    else:
        end = f" at the {criterion.interval} end of its {100 * criterion.level:g} % interval"
    sentence = (
        f"{criterion.id}: on the {sections} sections, {scope}, the {criterion.statistic.words} "
        f"must be {relation} {criterion.bound:g}{end}."
    )
    return f"{sentence} {criterion.note}" if criterion.note else sentence
