"""A grid for differences of amplitudes, so that rounding decides nothing.

Where a trace has no noise, the difference of amplitude and baseline is the rounding error of its
last bits, and equal peaks differ by as much. Two implementations that add up in another order would
then find other peaks. On a grid of about 1e-9 of the highest amplitude such differences are zero and
such peaks equal; a float32 amplitude resolves 60 times less.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["GRID_BITS", "ROUNDED_AT", "SLACK", "grid_pct", "on_grid"]

GRID_BITS = 30
"""The grid is this many powers of two below that of the highest amplitude."""

ROUNDED_AT = 0.381966
"""Added before rounding. Medians of quantised amplitudes, and lines between them, often lie half way between
two points of the grid, where rounding errors would choose; here they do not."""

SLACK = 1e-9
"""Figures that differ by less than this share count as equal, where a choice between them is seen."""

_LEAST = float(np.finfo(np.float64).tiny)


def grid_pct(amplitude_pct: NDArray[np.float64]) -> float:
    """Spacing of the grid for one channel: a power of two, so that dividing by it rounds nothing.

    Examples
    --------
    >>> grid_pct(np.array([1.0, -40.0])) == 2.0 ** (5 - 30)
    True
    """
    _, exponent = np.frexp(np.max(np.abs(amplitude_pct), initial=0.0))
    return max(float(np.ldexp(1.0, int(exponent) - 1 - GRID_BITS)), _LEAST)


def on_grid(difference_pct: NDArray[np.float64], spacing_pct: float) -> NDArray[np.float64]:
    """Round to a multiple of the spacing less than one spacing away; a multiple stays itself.

    Examples
    --------
    >>> on_grid(np.array([1e-14, 0.75]), 0.5)
    array([0., 1.])
    """
    return np.rint(difference_pct / spacing_pct + ROUNDED_AT) * spacing_pct
