"""A round pore that opens to one face: between two bounds that hold for any such pore.

*Locked*: the ligament under the pore stretches with the sheet around it, evenly through
the thickness: a round place of the remaining thickness. That forces the sheet, so it is
stiffer than the real pore, whose ligament may also bend. *Free*: the sheet is split at
the pore's floor into a layer with a through hole and a whole one that slide on each
other. That frees the sheet, so it gives more than the real pore. A wide shallow pore is
locked, a narrow deep one is free.

How far a pore lies from one to the other is taken from the same pore in the scalar
static problem (heat flow past a blind hole), which is solved by matching modes through
the thickness on the rim. Nothing is fitted.
"""

from __future__ import annotations

from functools import lru_cache
from math import pi

import numpy as np
from scipy.special import ive, kve

from seamtell.data_synth.arrays import Complex, Floats, Integers
from seamtell.data_synth.scattering.inclusion import inclusion_transition

__all__ = ["blind_pore_transition", "freedom", "scalar_polarisability"]

_MODES = 24
_GRAIN = 1e-3


def scalar_polarisability(radius_over_thickness: float, depth_share: float) -> float:
    """Far dipole of a blind hole in a slab under an even flow along it, through hole = 1.

    Examples
    --------
    A wide one tends to the disc of lesser thickness, d/(2 - d); a narrow one to d.

    >>> round(scalar_polarisability(50.0, 0.5), 2), round(scalar_polarisability(0.005, 0.5), 2)
    (0.33, 0.5)
    """
    a, left = radius_over_thickness, 1 - depth_share
    # Unknown: radial flow through the ligament's rim, in the ligament's own modes.
    inner = np.arange(_MODES) * pi / left
    outer = np.arange(1, max(int(3 * _MODES / left), 3 * _MODES)) * pi
    overlap = _overlaps(inner, outer, left)
    inside = np.array([a, *(_value_over_slope_i1(m, a) for m in inner[1:])])
    outside = np.array([_value_over_slope_k1(p, a) for p in outer])
    norms = left * np.where(np.arange(_MODES) == 0, 1.0, 0.5)
    matrix = np.diag(inside * norms) - 2 * (overlap * outside) @ overlap.T
    # The even mode outside: r + B/r, with slope 1 - B/a² equal to the mean flow through the rim.
    matrix[0, 0] += a * left**2
    right = np.zeros(_MODES)
    right[0] = 2 * a * left
    flow = np.linalg.solve(matrix, right)
    return float(1 - left * flow[0])


def _overlaps(inner: Floats, outer: Floats, left: float) -> Floats:
    """Integral over the ligament of cos(inner z) cos(outer z), shape (inner, outer)."""
    plus, minus = inner[:, None] + outer, inner[:, None] - outer
    return np.asarray((np.sinc(plus * left / pi) + np.sinc(minus * left / pi)) * left / 2)


def _value_over_slope_i1(m: float, a: float) -> float:
    return float(ive(1, m * a) / (m * (ive(0, m * a) + ive(2, m * a)) / 2))


def _value_over_slope_k1(p: float, a: float) -> float:
    return float(-kve(1, p * a) / (p * (kve(0, p * a) + kve(2, p * a)) / 2))


@lru_cache(maxsize=65536)
def _freedom_on_grid(radius_grains: int, depth_grains: int) -> float:
    depth = depth_grains * _GRAIN
    locked = depth / (2 - depth)
    return (scalar_polarisability(radius_grains * _GRAIN, depth) - locked) / (depth - locked)


def freedom(radius_over_thickness: float, depth_share: float) -> float:
    """Where a pore lies between locked (0) and free (1)."""
    radius = min(max(round(radius_over_thickness / _GRAIN), 1), 5000)
    depth = min(max(round(depth_share / _GRAIN), 10), 990)
    return min(max(_freedom_on_grid(radius, depth), 0.0), 1.0)


def blind_pore_transition(
    orders: Integers,
    k_per_mm: float,
    k_plate_per_mm: float,
    diameter_mm: float,
    depth_share: float,
    thickness_mm: float,
) -> Complex:
    """T-matrix of each order, shape (orders, 2, 2).

    The bounds are mixed as reactances, T = iK/(1 - iK), so that energy is kept.
    """
    medium = (orders, k_per_mm, k_plate_per_mm, diameter_mm)
    locked = _reactance(inclusion_transition(*medium, 1 - depth_share))
    free = depth_share * _reactance(inclusion_transition(*medium, 0.0))
    share = freedom(diameter_mm / 2 / thickness_mm, depth_share)
    mixed = (1 - share) * locked + share * free
    return np.asarray(np.linalg.solve(np.eye(2) - 1j * mixed, 1j * mixed))


def _reactance(transition: Complex) -> Complex:
    return np.asarray(-1j * np.linalg.solve(np.eye(2) + transition, transition))
