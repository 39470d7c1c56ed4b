"""Random functions of position with a stated spread and correlation length."""

from __future__ import annotations

from math import ceil, pi, sqrt

import numpy as np

from seamtell.data_synth.arrays import Floats

__all__ = ["smooth_random"]


_COARSE = 6.0


def smooth_random(n: int, correlation_samples: float, rng: np.random.Generator) -> Floats:
    """Stationary Gaussian noise of unit standard deviation, shape (n,).

    The autocorrelation is exp(-(lag / correlation)^2), the usual one of rough surfaces.
    Long correlations are made on a coarser grid and read off by straight lines.

    Parameters
    ----------
    correlation_samples : float
        Lag at which the correlation is down to 1/e.
    """
    from scipy.ndimage import gaussian_filter1d

    step = max(1, int(correlation_samples / _COARSE))
    m = ceil(n / step) + 2
    # white noise smoothed by a Gaussian of deviation s has correlation exp(-(lag / 2s)^2)
    deviation = correlation_samples / step / 2
    pad = ceil(4 * deviation)
    white = rng.standard_normal(m + 2 * pad)
    smooth = gaussian_filter1d(white, deviation)[pad : pad + m] if deviation > 0.3 else white[pad : pad + m]
    if deviation > 0.3:
        smooth *= sqrt(2 * sqrt(pi) * deviation)
    if step == 1:
        return np.asarray(smooth[:n])
    return np.interp(np.arange(n), step * np.arange(m), smooth)
