"""The strata that a section belongs to: thickness pair, speed and period as words.

A value that is not known gives an empty word, which is no stratum.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

__all__ = ["MOST_SPEEDS", "periods", "speed_bins", "thickness_pairs"]

MOST_SPEEDS = 4
"""Up to so many different speeds stand by themselves; more are parted at the quartiles."""


def thickness_pairs(first_mm: NDArray[np.float64], second_mm: NDArray[np.float64]) -> NDArray[np.str_]:
    """The two sheet thicknesses, the thinner first, shape (n,).

    Examples
    --------
    >>> thickness_pairs(np.array([1.5, 1.2, np.nan]), np.array([1.2, 1.5, 1.0])).tolist()
    ['1.2 + 1.5 mm', '1.2 + 1.5 mm', '']
    """
    pairs = np.sort(np.column_stack([first_mm, second_mm]), axis=1)
    return np.array([f"{a:g} + {b:g} mm" if np.isfinite(a + b) else "" for a, b in pairs], dtype=str)


def speed_bins(speed_m_per_min: NDArray[np.float64]) -> NDArray[np.str_]:
    """Welding speed as a value, or as a quarter of the sections where there are many; shape (n,).

    Examples
    --------
    >>> speed_bins(np.array([5.0, 6.0, np.nan])).tolist()
    ['5 m/min', '6 m/min', '']
    >>> sorted(set(speed_bins(np.arange(4.0, 12.0)).tolist()))
    ['10 to 11 m/min', '4 to 5 m/min', '6 to 7 m/min', '8 to 9 m/min']
    """
    known = np.isfinite(speed_m_per_min)
    speeds = speed_m_per_min[known]
    words = np.full(len(speed_m_per_min), "", dtype=object)
    if len(np.unique(speeds)) <= MOST_SPEEDS:
        words[known] = [f"{speed:g} m/min" for speed in speeds]
        return words.astype(str)
    edges = np.unique(np.quantile(speeds, [0.25, 0.5, 0.75]))
    part = np.searchsorted(edges, speeds, side="right")
    names = {
        p: f"{speeds[part == p].min():.3g} to {speeds[part == p].max():.3g} m/min" for p in np.unique(part)
    }
    words[known] = [names[p] for p in part]
    return words.astype(str)


def periods(welded_at: pd.Series) -> NDArray[np.str_]:
    """Month of welding in UTC, such as ``2026-03``, shape (n,).

    Examples
    --------
    >>> periods(pd.Series(["2026-03-01T08:00:00Z", None])).tolist()
    ['2026-03', '']
    """
    times = pd.to_datetime(welded_at, utc=True)
    return times.dt.strftime("%Y-%m").fillna("").to_numpy(dtype=str)
