"""Holes in a plate by brute force: outgoing waves about every hole, fitted to free rims at many points.

No addition theorem and no polar formulas: stresses are Cartesian, from
(d/dx +- i d/dy) H_n e^{i n theta} = -+k H_{n+-1} e^{i (n+-1) theta}, and the conditions on all rims are met
together by least squares.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.special import hankel1

from .hankel_beam import HankelBeam

__all__ = ["collocated_echo"]

Complex = npt.NDArray[np.complex128]
Floats = npt.NDArray[np.float64]

_ORDERS = np.arange(-8, 9)
_POINTS = 48


def collocated_echo(
    beam: HankelBeam, k_plate: float, centres_mm: tuple[float, ...], diameter_mm: float
) -> complex:
    """Echo of equal holes on the seam, positions counted from the aperture's centre."""
    angle = np.arange(_POINTS) * 2 * np.pi / _POINTS
    normal_x = np.tile(np.cos(angle), len(centres_mm))
    normal_y = np.tile(np.sin(angle), len(centres_mm))
    x = np.repeat(centres_mm, _POINTS) + diameter_mm / 2 * normal_x
    y = beam.seam_mm + diameter_mm / 2 * normal_y
    lame = (beam.k / k_plate) ** 2 - 2
    columns = [
        _traction(_curvature(n, q, x - centre, y - beam.seam_mm), wave, lame, normal_x, normal_y)
        for centre in centres_mm
        for wave, q in (("psi", beam.k), ("phi", k_plate))
        for n in _ORDERS
    ]
    scale = np.array([np.abs(column).max() for column in columns])
    load = _traction(beam.curvature(x, y), "psi", lame, normal_x, normal_y)
    found, *_ = np.linalg.lstsq((np.array(columns) / scale[:, None]).T, -load, rcond=None)
    sent = (found / scale).reshape(len(centres_mm), 2, len(_ORDERS))[:, 0]
    return complex(sum(row @ beam.heard(at, _ORDERS) for row, at in zip(sent, centres_mm, strict=True)))


def _curvature(n: int, k: float, dx: Floats, dy: Floats) -> tuple[Complex, Complex, Complex]:
    """Second derivatives xx, yy, xy of H_n(kr) e^{i n theta}."""
    r, theta = np.hypot(dx, dy), np.arctan2(dy, dx)
    twice_up, twice_down, same = (
        k**2 * hankel1(m, k * r) * np.exp(1j * m * theta) for m in (n + 2, n - 2, n)
    )
    return (
        (twice_up - 2 * same + twice_down) / 4,
        -(twice_up + 2 * same + twice_down) / 4,
        (twice_up - twice_down) / 4j,
    )


def _traction(
    curvature: tuple[Complex, Complex, Complex], wave: str, lame: float, normal_x: Floats, normal_y: Floats
) -> Complex:
    """Both components on the rim, by Hooke in plane stress, u = grad phi or (psi_y, -psi_x)."""
    xx, yy, xy = curvature
    if wave == "phi":
        swelling = lame * (xx + yy)
        stress_xx, stress_yy, stress_xy = 2 * xx + swelling, 2 * yy + swelling, 2 * xy
    else:
        stress_xx, stress_yy, stress_xy = 2 * xy, -2 * xy, yy - xx
    return np.concatenate(
        [stress_xx * normal_x + stress_xy * normal_y, stress_xy * normal_x + stress_yy * normal_y]
    )
