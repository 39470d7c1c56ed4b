"""Evidence that a stream of numbers has shifted, gathered block by block, with no price for looking often.

Each new value is compared with all values before it: the studentised recursive residual has a
Student distribution and is independent of the earlier ones as long as the blocks are
alike (normal with one mean and spread). Its one-sided p-value becomes an e-value, a bet that
wins on average nothing while nothing has changed. The Shiryaev-Roberts sum of these bets over
every possible time of change crosses c on average no sooner than after c blocks, whatever
the number of looks; of S streams together no sooner than after c / S blocks.

References
----------
Brown, Durbin, Evans, "Techniques for testing the constancy of regression relationships over
time", J. R. Stat. Soc. B 37 (1975) 149-192 (recursive residuals).
Vovk and Wang, "E-values: calibration, combination and applications", Ann. Stat. 49 (2021) 1736-1754.
Shin, Ramdas, Rinaldo, "E-detectors: a nonparametric framework for sequential change detection",
New Engl. J. Stat. Data Sci. (2023). All three cited from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import t as student

__all__ = ["MOST_BET", "Shift", "bets", "evidence", "predictive_p"]

MOST_BET = 30.0
"""No block counts for more, so that no single odd day suspends; a cut bet still wins nothing on average."""
_LEAST_P = 1e-300

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Shift:
    """Evidence after each of n values.

    Parameters
    ----------
    evidence : array of shape (n,)
        Mean of the sums of upward and downward bets; 0 while the reference is gathered.
    upward : bool array of shape (n,)
        Whether the upward bets have won more.
    """

    evidence: Floats
    upward: NDArray[np.bool_]


def predictive_p(values: ArrayLike, n_reference: int, floor_sd: ArrayLike = 0.0) -> Floats:
    """One-sided p-values of each value against all before it: small when it is high.

    Parameters
    ----------
    values : array of shape (n,)
        NaN where a block gives no value: it is passed over.
    n_reference : int
        So many values are needed before the first p-value; at least 2.
    floor_sd : float or array of shape (n,)
        Known least spread of a value, such as that of counting; guards against a reference without any.

    Returns
    -------
    array of shape (n,)
        NaN where nothing can be said yet.
    """
    x = np.asarray(values, dtype=np.float64)
    floor = np.broadcast_to(np.asarray(floor_sd, dtype=np.float64), x.shape)
    there = np.flatnonzero(np.isfinite(x))
    p = np.full(len(x), np.nan)
    y = x[there]
    if len(y) <= n_reference:
        return p
    before = np.arange(n_reference, len(y))
    # Sums about the first value, so that a large common level costs no digits.
    shifted = y - y[0]
    sums, squares = np.cumsum(shifted), np.cumsum(shifted**2)
    mean = sums[before - 1] / before
    variance = np.maximum(squares[before - 1] - before * mean**2, 0.0) / (before - 1)
    spread = np.maximum(np.sqrt(variance), floor[there[before]])
    error = (shifted[before] - mean) / np.sqrt(1 + 1 / before)
    # Values that never moved give no spread: one that moves is out of the ordinary, an equal one is not.
    with np.errstate(divide="ignore", invalid="ignore"):
        z = np.where(error == 0, 0.0, error / spread)
    p[there[before]] = student.sf(z, before - 1)
    return p


def bets(p: ArrayLike) -> Floats:
    """Turn p-values into e-values: the mean of k p^(k-1) over k from 0 to 1, cut at `MOST_BET`.

    Examples
    --------
    >>> bets([1.0, 0.5, 0.01]).round(2).tolist()
    [0.5, 0.64, 4.45]
    """
    q = np.clip(np.asarray(p, dtype=np.float64), _LEAST_P, 1.0)
    log = np.log(q)
    near_one = log > -1e-4  # the formula is 0 / 0 at 1
    safe = np.where(near_one, -1.0, log)
    e = np.where(near_one, 0.5 - log / 6, (1 - q + q * log) / (q * safe**2))
    return np.minimum(e, MOST_BET)


def evidence(values: ArrayLike, n_reference: int, floor_sd: ArrayLike = 0.0) -> Shift:
    """Evidence of a shift after each value; parameters as in `predictive_p`."""
    high = predictive_p(values, n_reference, floor_sd)
    known = np.isfinite(high)
    up = _sums(np.where(known, bets(np.where(known, high, 1.0)), np.nan))
    down = _sums(np.where(known, bets(np.where(known, 1 - high, 1.0)), np.nan))
    return Shift((up + down) / 2, up >= down)


def _sums(e: Floats) -> Floats:
    """Shiryaev-Roberts: R = (1 + R) e; a block that says nothing leaves it as it was."""
    total, out = 0.0, np.empty(len(e))
    for i, bet in enumerate(e):
        total = total if np.isnan(bet) else (1 + total) * float(bet)
        out[i] = total = min(total, 1e300)
    return out
