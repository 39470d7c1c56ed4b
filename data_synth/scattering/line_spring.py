"""How the two faces of a slot, once they slide or open, load the sheet around them.

A slot is a line of springs: stress on the line opens a jump, and the jump sends waves
that change the stress elsewhere on the line. The jump is a sum of hat functions of one
spacing; this module holds the table T of the stress at one hat from the jump at another.
In a plane-stress half plane a normal or a shear line load answers with the Rayleigh
function over the decay constant of the other wave; that is the kernel K.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from functools import lru_cache
from math import pi

import numpy as np

from seamtell.data_synth.arrays import Complex, Floats

__all__ = ["MAX_HATS", "JumpOperator", "jump_operator"]

MAX_HATS = 210


_POINTS_NEAR = 4000
_CUTOFF_HATS = 8.0


@dataclass(frozen=True, eq=False)
class JumpOperator:
    """First rows of the two symmetric Toeplitz tables, shape (MAX_HATS,) each."""

    sliding: Complex
    opening: Complex


@lru_cache(maxsize=32)
def jump_operator(k_per_mm: float, k_plate_per_mm: float, spacing_mm: float) -> JumpOperator:
    """Tabulate T for hats `spacing_mm` apart; kept for the next call."""
    k_x, step = _wavenumbers(k_per_mm, k_plate_per_mm, spacing_mm)
    beta = np.sqrt((k_per_mm**2 - k_x**2).astype(complex))
    alpha = np.sqrt((k_plate_per_mm**2 - k_x**2).astype(complex))
    rayleigh = (k_per_mm**2 - 2 * k_x**2) ** 2 + 4 * k_x**2 * alpha * beta
    common = 1j * rayleigh / (2 * k_per_mm**2) * spacing_mm**2 * np.sinc(k_x * spacing_mm / 2 / pi) ** 4
    weights = np.stack([common / beta, common / alpha]) * step / pi
    lags = spacing_mm * np.arange(MAX_HATS)
    sliding, opening = weights @ np.cos(np.outer(k_x, lags))
    return JumpOperator(sliding, opening)


def _wavenumbers(k: float, k_plate: float, spacing: float) -> tuple[Floats, Floats]:
    """Midpoints and steps of the integral over k_x.

    The kernel has square-root singularities at both wavenumbers; k_x = a + (b - a) sin²
    makes the integrand smooth there, and midpoints never touch them.
    """
    far = _CUTOFF_HATS * 2 * pi / spacing
    edges = (0.0, k_plate, k, 2 * k)
    parts = [_sin_squared(a, b, _POINTS_NEAR // 4) for a, b in itertools.pairwise(edges)]
    n_far = int(MAX_HATS * spacing * far * 1.5) + _POINTS_NEAR
    step = (far - 2 * k) / n_far
    parts.append((2 * k + step * (np.arange(n_far) + 0.5), np.full(n_far, step)))
    return np.concatenate([p for p, _ in parts]), np.concatenate([s for _, s in parts])


def _sin_squared(low: float, high: float, n: int) -> tuple[Floats, Floats]:
    angle = (np.arange(n) + 0.5) * pi / 2 / n
    return low + (high - low) * np.sin(angle) ** 2, (high - low) * np.sin(2 * angle) * pi / 2 / n
