"""A round place of another thickness in an even sheet: plane-stress T-matrix.

SH0 meets it as an in-plane shear wave and leaves as SH0 and S0. The two potentials
phi (S0) and psi (SH0), u = grad phi + (psi_y, -psi_x), are series of cylindrical waves
Z(kr) exp(i n theta). Displacement and thickness times stress go on across the rim. A
hole is a place with no thickness left.

Both potentials carry the same power for the same amplitude, so the scattering matrix
1 + 2T of each order is unitary: what comes in goes out.

References
----------
Y.-H. Pao and C.-C. Mow, *Diffraction of Elastic Waves and Dynamic Stress Concentrations*,
1973 (from memory): cavity and inclusion, here with the speeds of plane stress.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import hankel1, jv

from seamtell.data_synth.arrays import Complex, Floats, Integers

__all__ = ["CylindricalWaves", "inclusion_transition"]


@dataclass(frozen=True, eq=False)
class CylindricalWaves:
    """Displacements and stresses of cylindrical waves without their exp(i n theta).

    Orders and radii broadcast to a common shape s. `displacements` and `tractions` have
    the shape (*s, 2, 2): rows radial and along the circle, columns phi and psi. `hoop` holds
    sigma_theta_theta of both potentials, shape (*s, 2). Stresses are divided by the shear
    modulus.
    """

    displacements: Complex
    tractions: Complex
    hoop: Complex

    @classmethod
    def at(
        cls,
        orders: Integers,
        k_per_mm: float,
        k_plate_per_mm: float,
        radius_mm: Floats | float,
        *,
        outgoing: bool,
    ) -> CylindricalWaves:
        """Work out regular (Bessel) or outgoing (Hankel) waves."""
        n, r, k, k_plate = orders, radius_mm, k_per_mm, k_plate_per_mm
        turn = 1j * n / r
        phi, phi_r, phi_rr = _radial(n, k_plate, r, outgoing)
        psi, psi_r, psi_rr = _radial(n, k, r, outgoing)
        displacements = _matrices(phi_r, turn * psi, turn * phi, -psi_r)
        shear_phi, radial_psi = 2 * turn * (phi_r - phi / r), 2 * turn * (psi_r - psi / r)
        swelling = (k**2 - 2 * k_plate**2) * phi
        shear_psi = turn**2 * psi - psi_rr + psi_r / r
        tractions = _matrices(2 * phi_rr - swelling, radial_psi, shear_phi, shear_psi)
        hoop = np.stack([2 * (phi_r / r + turn**2 * phi) - swelling, -radial_psi], axis=-1)
        return cls(displacements, tractions, hoop)


def _matrices(a: Complex, b: Complex, c: Complex, d: Complex) -> Complex:
    return np.moveaxis(np.array([[a, b], [c, d]], dtype=complex), (0, 1), (-2, -1))


def _radial(n: Integers, k: float, r: Floats | float, outgoing: bool) -> tuple[Complex, Complex, Complex]:
    """Z(kr) and its first two derivatives with r, by recurrence and Bessel's equation."""
    function = hankel1 if outgoing else jv
    value = function(n, k * r)
    first = k * (function(n - 1, k * r) - function(n + 1, k * r)) / 2
    return value, first, -first / r - (k**2 - n**2 / r**2) * value


def inclusion_transition(
    orders: Integers, k_per_mm: float, k_plate_per_mm: float, diameter_mm: float, kept_share: float
) -> Complex:
    """T-matrix of each order, shape (orders, 2, 2): outgoing (phi, psi) for incoming (phi, psi).

    Parameters
    ----------
    orders : array of int, shape (n,)
    kept_share : float
        Thickness inside over thickness outside; 0 for a hole.

    Examples
    --------
    >>> hole = inclusion_transition(np.array([2]), 1.16716, 0.69736, 1.2, 0.0)
    >>> round(float(abs(hole[0, 1, 1])), 3)
    0.477
    """
    at_rim = (orders, k_per_mm, k_plate_per_mm, diameter_mm / 2)
    regular = CylindricalWaves.at(*at_rim, outgoing=False)
    outgoing = CylindricalWaves.at(*at_rim, outgoing=True)
    if kept_share == 0:
        return np.asarray(np.linalg.solve(outgoing.tractions, -regular.tractions))
    # Displacement goes on: what is inside is the incoming wave and J^-1 H of the outgoing one.
    inside = regular.tractions @ np.linalg.solve(regular.displacements, outgoing.displacements)
    across = outgoing.tractions - kept_share * inside
    return np.asarray(np.linalg.solve(across, -(1 - kept_share) * regular.tractions))
