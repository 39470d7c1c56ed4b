"""How the two faces of a slot, once they slide or open, load the sheet around them.

A slot is a line of springs: stress on the line opens a jump, and the jump sends waves
that change the stress elsewhere on the line. The jump is a sum of hat functions of one
spacing; this module holds the table T of the stress at one hat from the jump at another.
In a plane-stress half plane a normal or a shear line load answers with the Rayleigh
function over the decay constant of the other wave; that is the kernel K.

Hats that overlap or touch are integrated over the wavenumber along the seam, with the
static part, K growing with the wavenumber, taken out and added in closed form; hats farther apart
are integrated over the seam, where the kernel is a sum of Hankel functions.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from functools import lru_cache
from math import pi, sqrt

import numpy as np

from seamtell.data_synth.arrays import Complex, Floats
from seamtell.data_synth.scattering.jump_fields import jump_stresses

__all__ = ["HAT_LOSS", "MAX_HATS", "JumpOperator", "jump_operator"]

MAX_HATS = 800
"""Rows of a full table: 320 mm at 0.4 mm."""

HAT_LOSS = 0.115
"""Spacings at each end of a row of hats that open no crack.

Hats are blunt where a jump falls like a square root. A static crack of n hats
has the volume of the exact one shorter by this much at each end; lengthening the row by
it makes the error at the ends of second order in the spacing. A test derives it.
"""

_TOUCHING = 3
_CLOSE = 9
_NODES, _NODES_FAR, _NODES_CLOSE = 32, 300, 6
_CUTOFF_HATS = 8.0


@dataclass(frozen=True, eq=False)
class JumpOperator:
    """First rows of the two symmetric Toeplitz tables, shape (n_hats,) each."""

    sliding: Complex
    opening: Complex


@lru_cache(maxsize=256)
def jump_operator(
    k_per_mm: float, k_plate_per_mm: float, spacing_mm: float, n_hats: int = MAX_HATS
) -> JumpOperator:
    """Tabulate T for `n_hats` hats `spacing_mm` apart; a few milliseconds, kept for the next call."""
    last = max(n_hats, _CLOSE + 1)
    parts = [
        _touching(k_per_mm, k_plate_per_mm, spacing_mm),
        _apart(
            k_per_mm, k_plate_per_mm, spacing_mm, np.arange(_TOUCHING, _CLOSE, dtype=float), *_close_rule()
        ),
        _apart(k_per_mm, k_plate_per_mm, spacing_mm, np.arange(_CLOSE, last, dtype=float), *_far_rule()),
    ]
    return JumpOperator(*np.concatenate(parts, axis=1)[:, :n_hats])


def _touching(k: float, k_plate: float, spacing: float) -> Complex:
    """Hats less than three spacings apart, sliding and opening, shape (2, 3)."""
    k_x, step = _wavenumbers(k, k_plate, spacing)
    beta = np.sqrt((k**2 - k_x**2).astype(complex))
    alpha = np.sqrt((k_plate**2 - k_x**2).astype(complex))
    product = alpha * beta
    # k_x² + alpha beta, written so that it does not cancel where the waves decay
    rest = np.where(
        k_x > k,
        (k_x**2 * (k**2 + k_plate**2) - (k * k_plate) ** 2) / np.where(k_x > k, k_x**2 - product, 1),
        k_x**2 + product,
    )
    rayleigh = k**4 - 4 * k_x**2 * k**2 + 4 * k_x**2 * rest
    static = -(1 - (k_plate / k) ** 2)
    kernel = 1j * rayleigh / (2 * k**2) / np.stack([beta, alpha]) - static * k_x
    hats = spacing**2 * np.sinc(k_x * spacing / 2 / pi) ** 4
    lags = np.arange(_TOUCHING, dtype=float)
    moving = (kernel * (hats * step)) @ np.cos(np.outer(k_x, spacing * lags))
    return np.asarray((moving + static * _static_part(lags)) / pi)


def _static_part(lags: Floats) -> Floats:
    """Integral of 4 sin^4(x) cos(2 m x) / x^3 from zero: fourth difference of n^2 ln|n| / 2."""
    total = np.zeros(len(lags))
    for offset, weight in ((-2, 1), (-1, -4), (0, 6), (1, -4), (2, 1)):
        n = np.abs(lags + offset)
        total += weight / 2 * n**2 * np.log(np.maximum(n, 1))
    return total


def _apart(k: float, k_plate: float, spacing: float, lags: Floats, place: Floats, weight: Floats) -> Complex:
    """Hats farther apart: two hats smeared into one cubic B-spline over the seam, shape (2, n)."""
    at = spacing * (lags[:, None] + place)
    return np.stack([stress @ weight for stress in jump_stresses(k, k_plate, at)]) * spacing**2


def _close_rule() -> tuple[Floats, Floats]:
    """Places and weights over a cubic B-spline of area one on [-2, 2], Gauss on each of its pieces."""
    node, weight = _gauss(_NODES_CLOSE)
    place = (np.arange(-2, 2)[:, None] + (node + 1) / 2).ravel()
    x = np.abs(place)
    spline = np.where(x < 1, (4 - 6 * x**2 + 3 * x**3) / 6, (2 - x) ** 3 / 6)
    return place, np.tile(weight / 2, 4) * spline


def _far_rule() -> tuple[Floats, Floats]:
    """Three places that meet the spline's moments, 1/3 and 3/10, up to the fifth."""
    outer = sqrt(0.9)
    share = 1 / 3 / (2 * 0.9)
    return np.array([-outer, 0.0, outer]), np.array([share, 1 - 2 * share, share])


def _wavenumbers(k: float, k_plate: float, spacing: float) -> tuple[Floats, Floats]:
    """Places and weights of the integral over k_x.

    The kernel has square-root singularities at both wavenumbers; k_x = a + (b - a) sin²
    makes the integrand smooth there, and no place touches them.
    """
    far = max(_CUTOFF_HATS * 2 * pi / spacing, 3 * k)
    node, weight = _gauss(_NODES)
    angle, share = (node + 1) * pi / 4, weight * pi / 4
    parts = [
        (low + (high - low) * np.sin(angle) ** 2, (high - low) * np.sin(2 * angle) * share)
        for low, high in itertools.pairwise((0.0, k_plate, k, 2 * k))
    ]
    node, weight = _gauss(_NODES_FAR)
    parts.append((2 * k + (far - 2 * k) * (node + 1) / 2, weight * (far - 2 * k) / 2))
    return np.concatenate([p for p, _ in parts]), np.concatenate([w for _, w in parts])


@lru_cache(maxsize=8)
def _gauss(n: int) -> tuple[Floats, Floats]:
    return np.polynomial.legendre.leggauss(n)
