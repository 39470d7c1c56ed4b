"""Jump of a crack that goes on for ever to one side, under a plane wave at normal incidence: exact.

Wiener-Hopf: split the kernel into a factor K+ that is smooth below the real axis and its
mirror image K-; the transform of the jump under unit stress is -1 / (i xi K+(xi) K-(0)).
For the scalar twin this is Sommerfeld's half plane (1896); for a plate in plane stress it is
A.-W. Maue, Z. angew. Math. Mech. 33 (1953), and L. B. Freund, *Dynamic Fracture Mechanics*,
chapter 2 (both from memory). The Rayleigh function is split by Freund's arctan integral.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt
from scipy.optimize import brentq

__all__ = ["half_plane_jump"]

Complex = npt.NDArray[np.complex128]
Floats = npt.NDArray[np.float64]

_BELOW, _SPAN_MM, _POINTS = 0.05, 400.0, 2**16


def half_plane_jump(kind: str, k: float, k_plate: float, x_mm: Floats) -> tuple[Complex, complex]:
    """Jump at distances `x_mm` from the edge, and its factor of sqrt(x) at the edge itself."""
    factor = {"scalar": _scalar_factor, "sliding": _sliding_factor, "opening": _opening_factor}[kind](
        k, k_plate
    )
    xi = (np.arange(_POINTS) - _POINTS // 2) * 2 * np.pi / _SPAN_MM - 1j * _BELOW
    at_zero = factor(np.array([0j]))[0]
    far = np.array([-1e9 - 1j * _BELOW])
    # The part ~ sqrt(x) exp(-qx) is transformed by hand, the rest falls off quickly.
    q = 0.5
    edge = complex((-1 / (1j * far * factor(far) * at_zero) * (1j * far + q) ** 1.5)[0])
    rest = -1 / (1j * xi * factor(xi) * at_zero) - edge / (1j * xi + q) ** 1.5
    x = np.arange(_POINTS) * _SPAN_MM / _POINTS
    inverse = np.fft.ifft(np.fft.ifftshift(rest)) * _POINTS / _SPAN_MM * np.exp(_BELOW * x)
    root = edge * 2 / np.sqrt(np.pi)
    smooth = np.interp(x_mm, x, inverse.real) + 1j * np.interp(x_mm, x, inverse.imag)
    return smooth + root * np.sqrt(x_mm) * np.exp(-q * x_mm), root


def _scalar_factor(k: float, k_plate: float) -> Callable[[Complex], Complex]:
    return lambda xi: np.sqrt(0.5j) * np.sqrt(k - xi)


def _sliding_factor(k: float, k_plate: float) -> Callable[[Complex], Complex]:
    rayleigh = _rayleigh_factor(k, k_plate)
    return lambda xi: rayleigh(xi) / np.sqrt(k - xi)


def _opening_factor(k: float, k_plate: float) -> Callable[[Complex], Complex]:
    rayleigh = _rayleigh_factor(k, k_plate)
    return lambda xi: rayleigh(xi) / np.sqrt(k_plate - xi)


def _rayleigh_factor(k: float, k_plate: float) -> Callable[[Complex], Complex]:
    """Half of i Ray / 2k², Ray = (k² - 2 xi²)² + 4 xi² alpha beta."""
    turn = (np.arange(200) + 0.5) * np.pi / 400
    z = k_plate + (k - k_plate) * np.sin(turn) ** 2
    step = (k - k_plate) * np.sin(2 * turn) * np.pi / 400
    angle = np.arctan(4 * z**2 * np.sqrt((z**2 - k_plate**2) * (k**2 - z**2)) / (k**2 - 2 * z**2) ** 2)

    def rayleigh(q: float) -> float:
        return float((k**2 - 2 * q**2) ** 2 - 4 * q**2 * np.sqrt((q**2 - k**2) * (q**2 - k_plate**2)))

    pole = brentq(rayleigh, k * (1 + 1e-9), 2 * k)

    def factor(xi: Complex) -> Complex:
        total = np.zeros(xi.shape, dtype=complex)
        for place, value, width in zip(z, angle, step, strict=True):
            total += value * width / (place - xi)
        return np.asarray(np.sqrt(1j * (1 - (k_plate / k) ** 2)) * (pole - xi) * np.exp(-total / np.pi))

    return factor
