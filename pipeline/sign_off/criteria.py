"""What the quality engineer requires before approval: ``criteria.toml``."""

from __future__ import annotations

import hashlib
from pathlib import Path

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from seamtell.features.contracts import Flaw
from seamtell.pipeline.acceptance.cost_table import CostTable
from seamtell.pipeline.acceptance.detectors import SIZES_OF, Detector, FlawSize
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.evaluation.intervals import DEFAULT_LEVEL
from seamtell.pipeline.evaluation.result import Scope
from seamtell.pipeline.sign_off.statistics import STRATUM_KINDS, IntervalSide, Statistic
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
    "read_criteria",
]

CRITERIA_SCHEMA_VERSION = 1

ALL_SECTIONS = "all"
EACH_FLAW = "each_flaw"
EACH_CLASS = "each_class"
_LABELS = tuple(flaw.value for flaw in Flaw)
_FLAWS = tuple(label for label in _LABELS if label != Flaw.SOUND)
_SCOPES = (ALL_SECTIONS, EACH_FLAW, EACH_CLASS, *_LABELS)
_NEEDS_COSTS = (Statistic.EXPECTED_COST_PER_1000, Statistic.WEIGHTED_KAPPA)
_NO_INTERVAL = {
    Statistic.SECTIONS: "a number of sections has no interval",
    Statistic.WARNINGS: "a number of warnings has no interval",
    Statistic.A90_95_MM: "a90/95 is itself the end of an interval",
}


class Criterion(BaseModel):
    """One requirement."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)

    id: str = Field(min_length=1, pattern=r"^[A-Za-z0-9_.-]+$")
    statistic: Statistic
    scope: str = ALL_SECTIONS
    """``all``, ``each_flaw``, ``each_class`` or one label."""
    stratum: str = ""
    """One slice of the sections, such as ``recipe=MB-1513``; empty for all of them."""
    detector: Detector | None = None
    """For ``a90_95_mm``: what counts as a hit; ``either`` unless said."""
    size: FlawSize | None = None
    """For ``a90_95_mm``: over which size; the first one of the class unless said."""
    sections: Scope = Scope.HELD_OUT
    bound: float
    interval: IntervalSide
    level: float = Field(default=DEFAULT_LEVEL, gt=0, lt=1)
    note: str = ""

    @model_validator(mode="after")
    def _makes_sense(self) -> Criterion:
        if self.scope not in _SCOPES:
            raise ValueError(f"got scope '{self.scope}', expected one of {', '.join(_SCOPES)}")
        fits = self.statistic.of_all if self.scope == ALL_SECTIONS else self.statistic.by_class
        if not fits:
            raise ValueError(f"'{self.statistic}' has no figure for the scope '{self.scope}'")
        self._check_interval()
        self._check_stratum()
        self._check_detection()
        if self.statistic.in_record and self.sections is not Scope.HELD_OUT:
            raise ValueError(f"'{self.statistic}' is not told for cross-validated sections")
        if self.statistic.one_level and self.level != DEFAULT_LEVEL:
            raise ValueError(f"'{self.statistic}' is stored with the level {DEFAULT_LEVEL} only")
        return self

    def _check_interval(self) -> None:
        if self.statistic in _NO_INTERVAL and self.interval is not IntervalSide.ESTIMATE:
            raise ValueError(f'{_NO_INTERVAL[self.statistic]}; use interval = "estimate"')
        lax = IntervalSide.LOW if self.statistic.at_most else IntervalSide.HIGH
        if self.interval is lax:
            raise ValueError(f"the {lax} end of '{self.statistic}' flatters; take the other end")

    def _check_stratum(self) -> None:
        if not self.stratum:
            return
        by, _, value = self.stratum.partition("=")
        if by not in STRATUM_KINDS or not value:
            kinds = ", ".join(STRATUM_KINDS)
            raise ValueError(f"got stratum '{self.stratum}', expected KIND=VALUE with KIND one of {kinds}")
        if not self.statistic.in_stratum or self.scope != ALL_SECTIONS:
            raise ValueError(f"'{self.statistic}' for '{self.scope}' has no figure of one stratum")
        if self.sections is not Scope.HELD_OUT:
            raise ValueError("strata are told for held-out sections only")

    def _check_detection(self) -> None:
        if self.statistic is not Statistic.A90_95_MM:
            if self.detector is not None or self.size is not None:
                raise ValueError(f"'detector' and 'size' say nothing of '{self.statistic}'")
        elif self.scope not in (EACH_FLAW, *_FLAWS):
            raise ValueError(f"'{self.statistic}' has no figure for the scope '{self.scope}'")
        elif self.size is not None and any(self.size not in SIZES_OF[Flaw(one)] for one in self.labels):
            raise ValueError(f"'{self.size}' is not a size of every class in '{self.scope}'")

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
    costs: CostTable | None = None
    """What mistakes cost; needed by ``expected_cost_per_1000`` and ``weighted_kappa``."""

    @model_validator(mode="after")
    def _costs_are_there(self) -> Criteria:
        for one in self.criterion:
            if one.statistic in _NEEDS_COSTS and self.costs is None:
                raise ValueError(f"the criterion '{one.id}' needs a table [costs]")
        return self

    def margin(self, statistic: Statistic) -> float | None:
        """Greatest loss against the approved model that is allowed; None where no criterion says."""
        bounds = [one.bound for one in self.criterion if one.statistic is statistic]
        return -max(bounds) if bounds else None

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
