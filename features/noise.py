"""Noise of one channel: a robust standard deviation that flaws do not raise.

Flaws lie above the baseline, so only the samples at or below it are asked: half
of a symmetric noise, whose median absolute deviation is that of the whole. Slow
roughness of the joint counts as noise too, as it should: it looks like an echo.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from seamtell.features.rounding import on_grid

__all__ = ["FLOOR_SHARE", "SMALLEST_PCT", "noise_floor_pct", "noise_pct"]

FLOOR_SHARE = 0.01
"""Noise is never taken as less than this share of the specular baseline level."""
SMALLEST_PCT = 1e-6
"""Last resort against dividing by zero, far below anything that a head can show."""

_MAD_TO_SIGMA = 1.4826022185056018  # 1 / (third quartile of the standard normal distribution)


def noise_pct(
    amplitude_pct: NDArray[np.float64],
    baseline_pct: NDArray[np.float64],
    floor_pct: float = 0.0,
    spacing_pct: float = 0.0,
) -> float:
    """Robust standard deviation of one channel about its baseline.

    Parameters
    ----------
    amplitude_pct, baseline_pct : ndarray of shape (n,)
        % FSH.
    floor_pct : float, default 0
        Least answer, for quantised or noise-free traces; see `noise_floor_pct`.
    spacing_pct : float, default 0
        Grid that differences are rounded to; see ``features.rounding``.

    Returns
    -------
    float
        % FSH, at least ``max(floor_pct, SMALLEST_PCT)``, hence never zero.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> round(noise_pct(7 + 0.3 * rng.standard_normal(100_000), np.full(100_000, 7.0)), 2)
    0.3
    """
    over = amplitude_pct - np.asarray(baseline_pct, dtype=np.float64)
    if spacing_pct > 0.0:
        over = on_grid(over, spacing_pct)
    below = -over
    below = below[below >= 0.0]
    sigma = _MAD_TO_SIGMA * float(np.median(below)) if len(below) else 0.0
    return max(sigma, floor_pct, SMALLEST_PCT)


def noise_floor_pct(specular_level_pct: float) -> float:
    """Least noise of every channel of a seam: a share of its specular level, so that it follows the gain.

    Parameters
    ----------
    specular_level_pct : float
        % FSH; see ``features.baseline``.

    Returns
    -------
    float
        % FSH.

    Examples
    --------
    >>> round(noise_floor_pct(7.0), 3)
    0.07
    """
    return FLOOR_SHARE * abs(specular_level_pct)
