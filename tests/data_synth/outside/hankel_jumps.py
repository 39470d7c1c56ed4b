"""Stress at one hat from the jump at another, in closed form from Hankel functions.

The wavenumber integral of the line spring's kernel is not used. Line sources of the plate's
two waves are H0(kr) and H0(k_P r), and the kernels are their derivatives along the line:

sliding  (i/4k²) [(k² + 2 d²/dx²)² H0(kr) - 4 d²/dx² (k_P² + d²/dx²) H0(k_P r)]
opening  the same with k and k_P exchanged inside, scalar twin  (i/4) (k² + d²/dx²) H0(kr).

Two hats folded make a cubic B-spline. The derivatives are moved to it: its second is three
hats, its fourth five points. What is left has a logarithm at worst.
Spectrum of H0: textbook (Weyl's integral in two dimensions).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from numpy.polynomial.legendre import leggauss
from scipy.special import hankel1

__all__ = ["HankelJumps", "hankel_jumps"]

Complex = npt.NDArray[np.complex128]
Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class HankelJumps:
    """First rows of the three tables, shape (n,) each."""

    sliding: Complex
    opening: Complex
    scalar: Complex


def hankel_jumps(k: float, k_plate: float, spacing_mm: float, n: int) -> HankelJumps:
    """Tables for hats 0 to n - 1 spacings apart."""
    d = spacing_mm

    def hat(s: Floats) -> Floats:
        return np.clip(1 - np.abs(s) / d, 0, None)

    def spline(s: Floats) -> Floats:
        a = np.abs(s) / d
        return d * np.where(a < 1, 2 / 3 - a**2 + a**3 / 2, np.clip(2 - a, 0, None) ** 3 / 6)

    lag = d * np.arange(n)
    s, weight = _nodes(d)
    mean = {q: hankel1(0, q * np.abs(lag[:, None] - s)) * weight for q in (k, k_plate)}
    plain, bent = spline(s), (hat(s - d) - 2 * hat(s) + hat(s + d)) / d
    h, h2, p, p2 = mean[k] @ plain, mean[k] @ bent, mean[k_plate] @ plain, mean[k_plate] @ bent
    fourth = _difference(np.abs(lag[:, None] - d * np.arange(-2, 3)), k, k_plate) @ [1, -4, 6, -4, 1] / d**2
    front = 1j / (4 * k**2)
    return HankelJumps(
        front * (k**4 * h + 4 * k**2 * h2 - 4 * k_plate**2 * p2 + 4 * fourth),
        front * (k**4 * p + 4 * k**2 * p2 - 4 * k**2 * h2 - 4 * fourth),
        1j / 4 * (k**2 * h + h2),
    )


def _nodes(d: float) -> tuple[Floats, Floats]:
    """Gauss points over the four pieces of the spline, crowded at the joints where the logarithm sits."""
    t, w = (np.asarray(part) for part in leggauss(40))
    t, w = (t + 1) / 2, w / 2
    place, stretch = t**2 * (3 - 2 * t), 6 * t * (1 - t)
    return (
        np.concatenate([(j + place) * d for j in range(-2, 2)]),
        np.tile(d * w * stretch, 4),
    )


def _difference(r: Floats, k: float, k_plate: float) -> Complex:
    """H0(kr) - H0(k_P r); the logarithms cancel at r = 0."""
    far = np.maximum(r, 1e-9)
    found = hankel1(0, k * far) - hankel1(0, k_plate * far)
    return np.where(r < 1e-8, 2j / np.pi * np.log(k / k_plate), found)
