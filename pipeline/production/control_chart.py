"""The u-chart: flaws per metre by period, against limits from a stated baseline period.

``u_i = c_i / n_i`` with ``c_i`` flaws on ``n_i`` metres; centre ``u = sum c / sum n`` over the
baseline; limits ``u +- 3 sqrt(u / n_i)``, never below zero. Flaws that come in runs (a bad
coil) spread more than Poisson counts, and the plain limits then cry wolf. The spread of the
baseline around its own limits widens them, as Laney proposed; it never narrows them.

References
----------
NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.3.1, Counts Control Charts.
Laney, D. B. (2002). Improved control charts for attributes. Quality Engineering 14, 531-537.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seamtell.pipeline.production.run_rules import RunRule, signals

__all__ = ["MIN_BASELINE_PERIODS", "ControlChart", "control_chart"]

MIN_BASELINE_PERIODS = 8
"""Fewer periods than this say too little about the spread for a baseline."""
_SIGMAS = 3.0
_RANGE_TO_SIGMA = 1.128  # mean range of two normal values, in standard deviations


@dataclass(frozen=True, eq=False)
class ControlChart:
    """A u-chart; arrays have one entry a period, shape (n,).

    Parameters
    ----------
    rates_per_m, low_per_m, high_per_m : float array
        Flaws per metre, and the limits; NaN where nothing was inspected.
    centre_per_m : float
    spread : float
        By which the limits are wider than of independent flaws; one for none.
    z : float array
        Standard deviations from the centre; zero where nothing was inspected.
    alarms : mapping of RunRule to bool array
        Outside the baseline too: a baseline with alarms is none.
    """

    rates_per_m: NDArray[np.float64]
    low_per_m: NDArray[np.float64]
    high_per_m: NDArray[np.float64]
    centre_per_m: float
    spread: float
    z: NDArray[np.float64]
    alarms: dict[RunRule, NDArray[np.bool_]]


def control_chart(
    flaws: NDArray[np.int64],
    metres: NDArray[np.float64],
    baseline: NDArray[np.bool_],
    *,
    widen: bool = True,
) -> ControlChart:
    """Chart the flaws of successive periods.

    Parameters
    ----------
    flaws : int array of shape (n,)
    metres : float array of shape (n,)
    baseline : bool array of shape (n,)
        Periods that the limits are taken from.
    widen : bool
        Whether a spread beyond Poisson widens the limits.

    Raises
    ------
    ValueError
        No flaw or no length in the baseline.
    """
    inspected = metres > 0
    own = baseline & inspected
    if flaws[own].sum() <= 0:
        raise ValueError(f"got {int(own.sum())} baseline periods without a flaw, expected some to set limits")
    centre = float(flaws[own].sum() / metres[own].sum())
    safe = np.where(inspected, metres, 1.0)
    sigma = np.sqrt(centre / safe)
    rates = np.where(inspected, flaws / safe, np.nan)
    plain = np.where(inspected, (flaws / safe - centre) / sigma, 0.0)
    spread = max(1.0, _spread(plain[own])) if widen else 1.0
    half = _SIGMAS * spread * sigma
    z = plain / spread
    return ControlChart(
        rates_per_m=rates,
        low_per_m=np.where(inspected, np.maximum(0.0, centre - half), np.nan),
        high_per_m=np.where(inspected, centre + half, np.nan),
        centre_per_m=centre,
        spread=spread,
        z=z,
        alarms={rule: signals(z, rule) for rule in RunRule},
    )


def _spread(z: NDArray[np.float64]) -> float:
    """Standard deviation between neighbours: a trend in the baseline must not widen its limits."""
    return float(np.abs(np.diff(z)).mean()) / _RANGE_TO_SIGMA if len(z) >= MIN_BASELINE_PERIODS else 1.0
