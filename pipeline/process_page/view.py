"""What the process page shows, as plain rows: gathered by `gather`, drawn by `page`.

A row stands for one combination of the page's filters and holds figures that are ready to be
shown. The page adds up what is counted along the seam, and computes no other statistic.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, field, fields
from typing import Any

__all__ = [
    "ALL",
    "ChangeRow",
    "CoverRow",
    "CutRow",
    "EvenRow",
    "GroupRow",
    "HealthRow",
    "HintRow",
    "MarkRow",
    "MixRow",
    "PairRow",
    "Period",
    "PlaceRow",
    "ProcessView",
    "WeekRow",
    "columns_of",
]

ALL = "all"
"""Choice of a filter that leaves nothing out."""


@dataclass(frozen=True)
class Period:
    """A stretch of time that can be chosen; `months` are those of the rows it takes together."""

    key: str
    name: str
    months: tuple[str, ...]


@dataclass(frozen=True)
class MixRow:
    """Share and rate of one flaw among the seams of a choice; None where the sections do not tell.

    Parameters
    ----------
    raw, n : int
        Indications with this label, and all of the choice.
    share, low, high : float or None
        Corrected, with the 95 % interval.
    per_km, per_km_low, per_km_high : float or None
        Flaws per kilometre of seam.
    largest : float or None
        Probability that this flaw is the most frequent one.
    note : str
        Why a figure is missing or only bounded.
    """

    line: str
    recipe: str
    period: str
    label: str
    raw: int
    n: int
    seams: int
    metres: float
    share: float | None
    low: float | None
    high: float | None
    per_km: float | None
    per_km_low: float | None
    per_km_high: float | None
    largest: float | None
    note: str = ""


@dataclass(frozen=True)
class PairRow:
    """Corrected rate of a flaw in one month over that in an earlier one, with the interval of the ratio."""

    line: str
    recipe: str
    label: str
    earlier: str
    later: str
    ratio: float
    low: float
    high: float


@dataclass(frozen=True)
class WeekRow:
    """One point of a u-chart; rates per kilometre."""

    line: str
    recipe: str
    label: str
    week: str
    flaws: int
    seams: int
    metres: float
    per_km: float | None
    low: float | None
    high: float | None
    centre: float | None
    baseline: bool
    alarm: str = ""


@dataclass(frozen=True)
class ChangeRow:
    """A change of a rate: the first week of the new one with its interval; rates per kilometre."""

    line: str
    recipe: str
    label: str
    week: str
    low: str
    high: str
    probability: float
    before: float
    after: float


@dataclass(frozen=True)
class PlaceRow:
    """Indications in one bin along the seam; `at` in mm from the start or the end, or % of the length."""

    measured: str
    line: str
    recipe: str
    month: str
    label: str
    at: float
    count: int


@dataclass(frozen=True)
class CoverRow:
    """Metres of seam that were inspected in one bin, whatever was found."""

    measured: str
    line: str
    recipe: str
    month: str
    at: float
    metres: float


@dataclass(frozen=True)
class EvenRow:
    """Whether a flaw lies evenly along the seams, all together: p-value of that, from n indications."""

    measured: str
    label: str
    n: int
    p: float


@dataclass(frozen=True)
class MarkRow:
    """Indications that come back at one place of successive seams; `measured` from the start or the end."""

    line: str
    label: str
    measured: str
    from_mm: float
    to_mm: float
    first: str
    last: str
    seams: int
    expected: float
    p: float
    example: str = ""


@dataclass(frozen=True)
class GroupRow:
    """Rate of one flaw in one group, against all others; rates per kilometre.

    `flaws` counts labels as they were given; `basis` says whether the rate is corrected or of these labels.
    """

    by: str
    group: str
    label: str
    flaws: int
    seams: int
    per_km: float | None
    low: float | None
    high: float | None
    p_adjusted: float | None
    basis: str = "corrected"
    example: str = ""


@dataclass(frozen=True)
class HintRow:
    """A possible cause, where to look, and what speaks for it: common practice, never a finding."""

    label: str
    cause: str
    look: str
    speaks_for_it: str


@dataclass(frozen=True)
class HealthRow:
    """One run of the reference blank: level against what is expected."""

    line: str
    at: str
    channel: str
    deviation_db: float
    state: str


@dataclass(frozen=True)
class CutRow:
    """A seam worth cutting next."""

    rank: int
    seam_id: str
    position_mm: float
    label: str
    why: str


@dataclass(frozen=True)
class ProcessView:
    """Everything on the page.

    Parameters
    ----------
    answer : tuple of str
        The first sentences of the page.
    news : tuple of str
        What is there that was not before, and the other way round.
    baseline_weeks : int
        Weeks that the limits of the u-charts are taken from.
    weeks_to_false_alarm : float
        Mean number of weeks to the first false alarm of one chart.
    health, cuts_note : str
        A sentence each; empty when nothing of the kind was run.
    trends, drift : tuple of str
        Sentences.
    suspended_since : tuple of str
        Sentences on labels that are suspended for seams later than those of the page.
    pictures : mapping of str to str
        Drawn traces by seam, as SVG.
    """

    shop: str
    made_at: str
    decided_at: str
    model: str
    first_day: str
    last_day: str
    seams: int
    metres: float
    indications: int
    level: float
    bins: dict[str, float]
    """Width of a bin along the seam by how its position is measured: mm, or % of the length."""
    answer: tuple[str, ...]
    lines: tuple[str, ...]
    recipes: tuple[str, ...]
    periods: tuple[Period, ...]
    labels: tuple[str, ...]
    warnings: tuple[str, ...] = ()
    mix: tuple[MixRow, ...] = ()
    pairs: tuple[PairRow, ...] = ()
    weeks: tuple[WeekRow, ...] = ()
    changes: tuple[ChangeRow, ...] = ()
    places: tuple[PlaceRow, ...] = ()
    cover: tuple[CoverRow, ...] = ()
    even: tuple[EvenRow, ...] = ()
    marks: tuple[MarkRow, ...] = ()
    groups: tuple[GroupRow, ...] = ()
    health_rows: tuple[HealthRow, ...] = ()
    cuts: tuple[CutRow, ...] = ()
    hints: tuple[HintRow, ...] = ()
    lowest_height_share: float | None = None
    """Height as a share of the limit below which the mix tells nothing."""
    smaller: int = 0
    """Indications that are lower."""
    news: tuple[str, ...] = ()
    baseline_weeks: int = 0
    weeks_to_false_alarm: float = 0.0
    health: str = ""
    trends: tuple[str, ...] = ()
    drift: tuple[str, ...] = ()
    suspended_since: tuple[str, ...] = ()
    cuts_note: str = ""
    pictures: dict[str, str] = field(default_factory=dict)


def columns_of(rows: Sequence[Any], kind: type) -> dict[str, list[Any]]:
    """Rows of one kind column by column, which takes a third of the room of a list of objects."""
    names = [one.name for one in fields(kind)]
    plain = [asdict(row) for row in rows]
    return {name: [_short(row[name]) for row in plain] for name in names}


def _short(value: Any) -> Any:
    return float(f"{value:.5g}") if isinstance(value, float) else value
