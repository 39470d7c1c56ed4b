"""A plain time-domain solver of anti-plane (SH) motion in the cross-section of a plate.

It knows nothing of modes, of scattering theory or of the project's own numbers: only the
wave equation rho u_tt = mu (u_yy + u_zz) on square cells. No stress passes a face of a
blocked cell, so every surface is traction-free. A burst that already travels on the sheet
is put in at the start; the run stops before anything comes back from the two far ends.

Central differences of second order in space and time, 0.9 of the largest stable step:
textbook. Sharp corners leave an error that shrinks with the first power of the cell.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import asin, pi, sin, sqrt

import numpy as np
import numpy.typing as npt

__all__ = ["CrossSection", "reflection"]

Floats = npt.NDArray[np.float64]

_SPEED_MM_PER_US = 3.23
_COURANT = 0.9 / sqrt(2)
_CYCLES = 4.5
_PROBE_MM = 4.0
_CLEAR_MM = 6.0
_RINGING_MM = 9.0


@dataclass(frozen=True)
class CrossSection:
    """A joint seen from its end: sheet A at y < 0, solid between two surfaces, minus slots.

    Parameters
    ----------
    top_mm, bottom_mm : callable
        Height of the two surfaces at y.
    slots_mm : tuple of (y_from, y_to, z_from, z_to)
        Rectangles of air.
    """

    top_mm: Callable[[Floats], Floats]
    bottom_mm: Callable[[Floats], Floats]
    slots_mm: tuple[tuple[float, float, float, float], ...] = ()

    def solid(self, y_mm: Floats, z_mm: Floats) -> npt.NDArray[np.bool_]:
        """Tell which cell centres are metal, shape (len(y), len(z))."""
        y, z = y_mm[:, None], z_mm[None, :]
        metal = (z < self.top_mm(y)) & (z > self.bottom_mm(y))
        for y_from, y_to, z_from, z_to in self.slots_mm:
            metal &= ~((y > y_from) & (y < y_to) & (z > z_from) & (z < z_to))
        return metal


def reflection(section: CrossSection, frequency_mhz: float, cell_mm: float) -> complex:
    """Displacement reflected over displacement sent, SH0 to SH0, phase counted from y = 0."""
    burst_mm = _CYCLES * _SPEED_MM_PER_US / frequency_mhz
    path_mm = burst_mm + _CLEAR_MM + _PROBE_MM + _RINGING_MM
    first = -round((burst_mm + _CLEAR_MM + 2) / cell_mm)
    last = round(((path_mm - _CLEAR_MM - _PROBE_MM) / 2 + 1) / cell_mm)
    y = cell_mm * (np.arange(first, last) + 0.5)
    z = _heights(section, y, cell_mm)
    solid = section.solid(y, z)
    step_us = _COURANT * cell_mm / _SPEED_MM_PER_US
    now = solid * _burst(y, frequency_mhz)[:, None]
    before = solid * _burst(y + _SPEED_MM_PER_US * step_us, frequency_mhz)[:, None]
    probes = [int(np.searchsorted(y, -_PROBE_MM - shift)) for shift in (0.0, 1.2)]
    means = _march(solid, now, before, probes, round(path_mm / (_COURANT * cell_mm)))
    omega = 2 * pi * frequency_mhz
    tone = np.exp(1j * omega * step_us * np.arange(len(means)))
    # Wavenumber of the grid itself, so that its slight delay does not count as an echo.
    k = 2 / cell_mm * asin(sin(omega * step_us / 2) / _COURANT)
    waves = np.array([[np.exp(1j * k * y[p]), np.exp(-1j * k * y[p])] for p in probes])
    sent, returned = np.linalg.solve(waves, tone @ means)
    return complex(returned / sent)


def _heights(section: CrossSection, y: Floats, cell_mm: float) -> Floats:
    low, high = section.bottom_mm(y).min(), section.top_mm(y).max()
    return low + cell_mm * (np.arange(round((high - low) / cell_mm)) + 0.5)


def _burst(y: Floats, frequency_mhz: float) -> Floats:
    """Burst with a Hann window that travels towards y > 0 and ends `_CLEAR_MM` before the joint."""
    length = _CYCLES * _SPEED_MM_PER_US / frequency_mhz
    place = (y + _CLEAR_MM + length) / length
    inside = (place > 0) & (place < 1)
    return np.where(inside, np.sin(pi * place) ** 2 * np.sin(2 * pi * _CYCLES * place), 0.0)


def _march(
    solid: npt.NDArray[np.bool_], now: Floats, before: Floats, probes: list[int], n_steps: int
) -> Floats:
    """Step in time; return the mean over the thickness at each probe, shape (n_steps, n_probes)."""
    across, up = (_COURANT**2 * joined for joined in (solid[1:] & solid[:-1], solid[:, 1:] & solid[:, :-1]))
    in_sheet = [solid[p] for p in probes]
    means = np.empty((n_steps, len(probes)))
    along, upward, twice = np.empty(across.shape), np.empty(up.shape), np.empty(now.shape)
    for step in range(n_steps):
        means[step] = [now[p][rows].mean() for p, rows in zip(probes, in_sheet, strict=True)]
        np.multiply(now, 2, out=twice)
        after = np.subtract(twice, before, out=before)
        np.multiply(np.subtract(now[1:], now[:-1], out=along), across, out=along)
        after[:-1] += along
        after[1:] -= along
        np.multiply(np.subtract(now[:, 1:], now[:, :-1], out=upward), up, out=upward)
        after[:, :-1] += upward
        after[:, 1:] -= upward
        before, now = now, after
    return means
