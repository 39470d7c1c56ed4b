"""Wave speeds of the sheet."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

__all__ = ["STEEL", "Material"]


@dataclass(frozen=True)
class Material:
    """An isotropic, lossless sheet material.

    Parameters
    ----------
    c_longitudinal_mm_per_us, c_shear_mm_per_us : float
        Bulk wave speeds.

    Examples
    --------
    >>> round(STEEL.poisson, 5), round(STEEL.c_plate_mm_per_us, 5)
    (0.28601, 5.40594)
    """

    c_longitudinal_mm_per_us: float
    c_shear_mm_per_us: float

    @property
    def poisson(self) -> float:
        """Poisson's ratio from the two bulk speeds."""
        longitudinal, shear = self.c_longitudinal_mm_per_us**2, self.c_shear_mm_per_us**2
        return (longitudinal - 2 * shear) / (2 * (longitudinal - shear))

    @property
    def c_plate_mm_per_us(self) -> float:
        """Speed of the S0 wave in a thin plate (plane stress)."""
        return self.c_shear_mm_per_us * sqrt(2 / (1 - self.poisson))


STEEL = Material(5.9, 3.23)
"""Structural steel, 5900 and 3230 m/s (common handbook values, from memory)."""
