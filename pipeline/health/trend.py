"""How the sensitivity of a head moves over its checks, and when it will leave the tolerance.

The sensitivity of one check on a channel is the median deviation over the machined flaws.
Its slope is that of Theil and Sen, the median over all pairs of checks, with the interval
of Sen (1968); a flaw or a run that is off does not bend it.

References
----------
P. K. Sen, "Estimates of the regression coefficient based on Kendall's tau", J. Am. Stat.
Assoc. 63 (1968) 1379-1389.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from math import inf, isfinite
from typing import Any

import numpy as np
from scipy.stats import theilslopes

from seamtell.features.contracts import Channel
from seamtell.pipeline.health.check_record import CheckEntry, checks_by_line

__all__ = ["LEAST_CHECKS", "WINDOW_DAYS", "Forecast", "Trend", "trends"]

LEAST_CHECKS = 6
"""With fewer, Sen's interval is as wide as the range of all slopes, or wider."""
WINDOW_DAYS = 56.0
"""Only checks of the last eight weeks count: wear that begins shows there, and not in a whole year."""
_CONFIDENCE = 0.95
_DAY_S = 86_400.0
_FAR_DAYS = 365.0
"""Farther ahead than this no forecast is worth its number."""


@dataclass(frozen=True)
class Forecast:
    """Days from the last check until the stop tolerance is reached; `inf` for not within a year."""

    days: float
    low_days: float
    high_days: float


@dataclass(frozen=True)
class Trend:
    """One channel of one line under one head.

    Parameters
    ----------
    n : int
        Checks.
    last_db : float
        What the fitted line gives at the last check.
    slope_db_per_week, slope_low, slope_high : float or None
        None with fewer than `LEAST_CHECKS` checks.
    forecast : Forecast or None
        None as well when the interval of the slope holds both ways.
    """

    line: str
    head: str
    channel: Channel
    n: int
    since: datetime
    until: datetime
    last_db: float
    stop_db: float
    slope_db_per_week: float | None = None
    slope_low: float | None = None
    slope_high: float | None = None
    forecast: Forecast | None = None

    @property
    def sentence(self) -> str:
        """For a person."""
        head = f", head {self.head}" if self.head else ""
        start = f"Line {self.line}{head}, {self.channel.value}:"
        if self.slope_db_per_week is None:
            return f"{start} {self.last_db:+.1f} dB; no trend from n = {self.n}, {LEAST_CHECKS} are needed."
        slope = (
            f"{start} {self.last_db:+.1f} dB, {self.slope_db_per_week:+.2f} "
            f"[{self.slope_low:+.2f}, {self.slope_high:+.2f}] dB a week, n = {self.n}"
        )
        if self.forecast is None:
            return f"{slope}; no trend is shown."
        return f"{slope}; leaves {self.stop_db:g} dB {_in_days(self.forecast)}."

    def as_document(self) -> dict[str, Any]:
        """JSON content; what is not within a year is null."""
        forecast = self.forecast
        return {
            "line": self.line,
            "head": self.head,
            "channel": self.channel.value,
            "n": self.n,
            "since": self.since.isoformat(),
            "until": self.until.isoformat(),
            "last_db": self.last_db,
            "stop_db": self.stop_db,
            "slope_db_per_week": self.slope_db_per_week,
            "slope_low": self.slope_low,
            "slope_high": self.slope_high,
            "forecast_days": None
            if forecast is None
            else [
                days if isfinite(days) else None
                for days in (forecast.days, forecast.low_days, forecast.high_days)
            ],
        }


def trends(checks: Iterable[CheckEntry]) -> tuple[Trend, ...]:
    """Trend of each channel of each line under the head that it has now, over the last weeks.

    Checks with a missing flaw are left out of it: they say that something is broken, not
    how the head wears.
    """
    found = []
    for _, own in sorted(checks_by_line(checks).items()):
        same_head = [check for check in own if _counts(check, own[-1])]
        if same_head:
            found += [_trend(same_head, channel) for channel in Channel]
    return tuple(found)


def _counts(check: CheckEntry, last: CheckEntry) -> bool:
    recent = (last.run_at - check.run_at).total_seconds() <= WINDOW_DAYS * _DAY_S
    return recent and check.head == last.head and all(flaw.offset_mm is not None for flaw in check.flaws)


def _trend(checks: list[CheckEntry], channel: Channel) -> Trend:
    last = checks[-1]
    days = np.array([(check.run_at - last.run_at).total_seconds() / _DAY_S for check in checks])
    level = np.array(
        [float(np.median([flaw.deviation_db[channel] for flaw in check.flaws])) for check in checks]
    )
    facts = (last.line, last.head, channel, len(checks), checks[0].run_at, last.run_at)
    if len(checks) < LEAST_CHECKS:
        return Trend(*facts, float(level[-1]), last.stop_db)
    fit = theilslopes(level, days, alpha=_CONFIDENCE)
    now_db = float(np.median(level - fit.slope * days))
    slopes = (float(fit.slope), float(fit.low_slope), float(fit.high_slope))
    middle = float(np.median(days))
    forecast = _forecast((middle, now_db + fit.slope * middle), slopes, last.stop_db)
    slope, low, high = (7 * slope for slope in slopes)
    return Trend(*facts, now_db, last.stop_db, slope, low, high, forecast)


def _forecast(
    middle: tuple[float, float], slopes: tuple[float, float, float], stop_db: float
) -> Forecast | None:
    """Of a slope whose interval leaves out zero; every slope turns about the middle of the checks.

    The level is surest there, and hardly depends on the slope; at the last check it does.
    """
    slope, low, high = slopes
    if low <= 0 <= high:
        return None
    at, level_db = middle
    room_db = stop_db - level_db if slope > 0 else stop_db + level_db
    days = sorted(at + room_db / abs(one) for one in slopes)
    return Forecast(*(_shown(one) for one in (at + room_db / abs(slope), days[0], days[-1])))


def _shown(days: float) -> float:
    return max(days, 0.0) if days <= _FAR_DAYS else inf


def _in_days(forecast: Forecast) -> str:
    if not isfinite(forecast.low_days):
        return "in more than a year"
    shown = [
        f"{days:.0f}" if isfinite(days) else "more than 365"
        for days in (forecast.days, forecast.low_days, forecast.high_days)
    ]
    return f"in {shown[0]} [{shown[1]}, {shown[2]}] days"
