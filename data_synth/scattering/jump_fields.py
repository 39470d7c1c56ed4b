"""Stress on the seam from a short piece of slot that slides or opens, at a distance from it.

The far part of the line-spring kernels in closed form. The kernel
i [(k² - 2 k_x²)² + 4 k_x² alpha beta] / (2 k² beta) and its twin over alpha are sums of
powers of k_x over alpha or beta; the Fourier transform of 1/beta is H_0(k|x|)/2, and
each k_x² is a second derivative along the seam.
"""

from __future__ import annotations

import numpy as np
from scipy.special import j0, j1, y0, y1

from seamtell.data_synth.arrays import Complex, Floats

__all__ = ["jump_stresses"]


def jump_stresses(k_per_mm: float, k_plate_per_mm: float, lags_mm: Floats) -> tuple[Complex, Complex]:
    """Shear stress of a unit sliding and normal stress of a unit opening, a length of 1 mm each.

    Parameters
    ----------
    lags_mm : float array of any shape
        Distance along the seam, not zero.
    """
    k, k_plate = k_per_mm, k_plate_per_mm
    shear, shear2, shear4 = _derivatives(k, lags_mm)
    plate, plate2, plate4 = _derivatives(k_plate, lags_mm)
    direct = k**4 * shear + 4 * k**2 * shear2 + 4 * shear4
    sliding = direct / 2 - 2 * (k_plate**2 * plate2 + plate4)
    direct = k**4 * plate + 4 * k**2 * plate2 + 4 * plate4
    opening = direct / 2 - 2 * (k**2 * shear2 + shear4)
    return 1j / (2 * k**2) * sliding, 1j / (2 * k**2) * opening


def _derivatives(k: float, lags_mm: Floats) -> tuple[Complex, Complex, Complex]:
    """H_0(k|x|), its second and its fourth derivative; higher orders by recurrence, which is fast."""
    z = k * np.abs(lags_mm)
    h0, h1 = j0(z) + 1j * y0(z), j1(z) + 1j * y1(z)
    h2 = 2 / z * h1 - h0
    h4 = 6 / z * (4 / z * h2 - h1) - h2
    return h0, k**2 * (h2 - h0) / 2, k**4 * (h4 - 4 * h2 + 3 * h0) / 8
