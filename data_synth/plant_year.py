"""A year of one plant with a known, changing truth: what process statistics have to find, and not to invent.

The plant is Marram Bay Carriage Works a year later, with far fewer flaws than the shop of
the demo. Every magnitude is invented.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

from seamtell.data_synth.shop_events import Fading, FixtureMark, Incident
from seamtell.data_synth.shop_plan import LinePlan, ShopPlan
from seamtell.features.contracts import Flaw

__all__ = ["YEAR_DAYS", "YearTruth", "eventful_year", "quiet_year", "year_before"]

YEAR_DAYS = 364
_BEFORE_DAYS = 182
_MONTHS = 12
_SUMMER = range(5, 9)
_RATES = {Flaw.PINHOLE: 0.035, Flaw.EDGE_NOTCH: 0.035, Flaw.LACK_OF_FUSION: 0.022, Flaw.MISMATCH: 0.03}


@dataclass(frozen=True)
class YearTruth:
    """When and where what was planted happens; days from the start of the year, both ends inside.

    Parameters
    ----------
    summer_days : tuple of int
        More pinholes: `summer_factor` times as many.
    coil : Incident
        One bad coil.
    mark : FixtureMark
    fading : Fading
        Of the head of `fading_line`.
    new_recipe : str
    new_recipe_day : int
    """

    summer_days: tuple[int, int]
    summer_factor: float
    coil: Incident
    mark: FixtureMark
    fading: Fading
    fading_line: str
    new_recipe: str
    new_recipe_day: int


def quiet_year() -> ShopPlan:
    """A year in which nothing happens: constant rates, heads that do not wear, two recipes throughout."""
    shop = ShopPlan()
    return replace(
        shop,
        recipes=tuple(replace(recipe, first_month=0) for recipe in shop.recipes[:2]),
        lines=tuple(_steady(line) for line in shop.lines),
        start=datetime(2026, 1, 5, tzinfo=UTC),
        days=YEAR_DAYS,
        flaws_per_seam=dict(_RATES),
        month_factors=dict.fromkeys(_RATES, (1.0,) * _MONTHS),
    )


def year_before() -> ShopPlan:
    """The half year before: the same steady heads and recipes, and as many flaws as the shop of the demo.

    The sections that a model is trained on come from here.
    """
    shop, year = ShopPlan(), quiet_year()
    rates = dict(shop.flaws_per_seam)
    return replace(
        year,
        start=year.start - timedelta(days=_BEFORE_DAYS),
        days=_BEFORE_DAYS,
        flaws_per_seam=rates,
        month_factors=dict.fromkeys(rates, (1.0,) * (_MONTHS // 2)),
    )


def eventful_year() -> tuple[ShopPlan, YearTruth]:
    """The same year with a seasonal mix, a bad coil, a fading head, a fixture mark and a new recipe."""
    quiet = quiet_year()
    day_of = [month * YEAR_DAYS // _MONTHS for month in range(_MONTHS + 1)]
    truth = YearTruth(
        summer_days=(day_of[_SUMMER.start], day_of[_SUMMER.stop] - 1),
        summer_factor=2.2,
        coil=Incident(Flaw.LACK_OF_FUSION, "L2", 121, 121, 1.0, shift="early"),
        mark=FixtureMark(Flaw.EDGE_NOTCH, "L2", 245, 286, 0.35, 212.0),
        fading=Fading(from_week=29.0, weeks=6.0, loss_db=3.0, mended_in_week=36.0),
        fading_line="L1",
        new_recipe="MB-1210",
        new_recipe_day=day_of[9],
    )
    summer = tuple(truth.summer_factor if month in _SUMMER else 1.0 for month in range(_MONTHS))
    new = replace(ShopPlan().recipes[2], first_month=9)
    plan = replace(
        quiet,
        recipes=(*quiet.recipes, new),
        lines=tuple(
            replace(line, fading=truth.fading) if line.name == truth.fading_line else line
            for line in quiet.lines
        ),
        month_factors={**quiet.month_factors, Flaw.PINHOLE: summer},
        incidents=(truth.coil,),
        marks=(truth.mark,),
    )
    return plan, truth


def _steady(line: LinePlan) -> LinePlan:
    """The same line with a head that neither wears nor is exchanged."""
    return replace(line, wear_db_per_week=0.0, head_changed_in_week=YEAR_DAYS, new_head=None)
