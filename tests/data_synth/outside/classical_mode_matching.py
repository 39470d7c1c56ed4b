"""Mode matching as the textbooks teach it, for one slot or one step: amplitudes, not fluxes.

Displacement is projected on the modes of the thinner sheet, flux on those of the thicker
one, modes in the ratio of the heights (the choice that Mittra and Lee, *Analytical
Techniques in the Theory of Guided Waves*, 1971, show to meet the edge condition; from
memory). Slow to converge and without any trial function at the corners, which is what
makes it another road to the same numbers.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

__all__ = ["slot_reflection", "step_reflection"]

Complex = npt.NDArray[np.complex128]


def _constants(height_mm: float, k: float, count: int) -> Complex:
    return np.sqrt((k**2 - (np.arange(count) * np.pi / height_mm) ** 2).astype(complex))


def _overlaps(thick_mm: float, thin_mm: float, n_thick: int, n_thin: int) -> npt.NDArray[np.float64]:
    """Integral over the thin sheet (flush at the top) of one orthonormal mode times the other."""
    p = np.arange(n_thick)[:, None] * np.pi / thick_mm
    q = np.arange(n_thin)[None, :] * np.pi / thin_mm
    parts = np.sinc((p + q) * thin_mm / np.pi) + np.sinc((p - q) * thin_mm / np.pi)
    norm = np.sqrt(np.where(p == 0, 1, 2) / thick_mm * np.where(q == 0, 1, 2) / thin_mm)
    return norm * parts * thin_mm / 2


def step_reflection(before_mm: float, after_mm: float, k: float, n: int) -> complex:
    """Reflection of the fundamental mode where a sheet gets thinner abruptly."""
    n_thin = round(n * after_mm / before_mm)
    m = _overlaps(before_mm, after_mm, n, n_thin)
    thick, thin = _constants(before_mm, k, n), _constants(after_mm, k, n_thin)
    # u: m' (e + a) = b;  flux: thick (e - a) = m thin b
    e = np.eye(n)[0]
    a = np.linalg.solve(np.diag(thick) + (m * thin) @ m.T, thick * e - (m * thin) @ (m.T @ e))
    return complex(a[0])


def slot_reflection(sheet_mm: float, ligament_mm: float, length_mm: float, k: float, n: int) -> complex:
    """Reflection of a slot from one face, counted from its middle: even and odd halves added.

    About the middle the field is even (no flux there) or odd (no displacement there), and
    each half is a step into a closed piece of sheet.
    """
    n_thin = round(n * ligament_mm / sheet_mm)
    m = _overlaps(sheet_mm, ligament_mm, n, n_thin)
    thick, thin = _constants(sheet_mm, k, n), _constants(ligament_mm, k, n_thin)
    e, half = np.eye(n)[0], length_mm / 2
    turn = np.exp(2j * thin * half)
    total = 0j
    for flux_over_value in ((1 - turn) / (1 + turn) * thin, (1 + turn) / (1 - turn) * thin):
        load = (m * flux_over_value) @ m.T
        a = np.linalg.solve(np.diag(thick) + load, thick * e - load @ e)
        total += a[0] / 2
    return complex(total * np.exp(-1j * k * length_mm))
