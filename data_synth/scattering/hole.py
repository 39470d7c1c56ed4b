"""Echo of a round hole: plane-stress T-matrix of a traction-free circle.

The hole's axis is normal to the sheet, so SH0 meets it as an in-plane shear wave and
leaves as SH0 and S0. For each angular order n the two potentials phi (S0) and psi (SH0)
meet two conditions, no radial and no shear traction on the rim.

References
----------
Y.-H. Pao and C.-C. Mow, *Diffraction of Elastic Waves and Dynamic Stress Concentrations*,
1973 (from memory): the in-plane problem of a cavity, here with the speeds of plane stress.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy.special import h1vp, hankel1, jv, jvp

from seamtell.data_synth.arrays import Complex, Floats
from seamtell.data_synth.flaws import Hole
from seamtell.data_synth.head import Head, Joint
from seamtell.data_synth.scattering.beam import HOLE_ORDERS, beam
from seamtell.features.contracts import Channel, Side

__all__ = ["BLIND_EXPONENT", "hole_echo", "scattered_orders"]


BLIND_EXPONENT = 0.75
"""A blind pore echoes like a through hole of diameter D (depth / thickness)^0.75.

Fitted on one full-wave case, the least certain part of the model.
"""


def scattered_orders(k_per_mm: float, k_plate_per_mm: float, diameter_mm: float) -> Complex:
    """SH0 sent out for unit SH0 coming in, orders 0 to ``HOLE_ORDERS``; order -n equals order n.

    Returns
    -------
    complex array of shape (HOLE_ORDERS + 1,)

    Examples
    --------
    >>> round(float(abs(scattered_orders(1.16716, 0.69736, 1.2)[2])), 3)
    0.477
    """
    return np.array(
        [_one_order(n, k_per_mm, k_plate_per_mm, diameter_mm / 2) for n in range(HOLE_ORDERS + 1)]
    )


def _one_order(n: int, k: float, k_plate: float, r: float) -> complex:
    out = np.column_stack([_tractions(n, k, k_plate, r, part, hankel1, h1vp) for part in ("phi", "psi")])
    incident = _tractions(n, k, k_plate, r, "psi", jv, jvp)
    return complex(np.linalg.solve(out, -incident)[1])


def _tractions(n: int, k: float, k_plate: float, r: float, part: str, z, zp) -> Complex:  # type: ignore[no-untyped-def]
    """Radial and shear traction at radius `r` of one potential Z(kr) e^{i n theta}."""
    wavenumber = k_plate if part == "phi" else k
    value, first, second = (f(n, wavenumber * r) for f in (z, zp, lambda m, x: zp(m, x, 2)))
    mixed = 2j * n * (wavenumber * first / r - value / r**2)
    if part == "phi":
        radial = 2 * k_plate**2 * second - (k**2 - 2 * k_plate**2) * value
        return np.array([radial, mixed])
    return np.array([mixed, -(n**2) * value / r**2 - k**2 * second + k * first / r])


@lru_cache(maxsize=65536)
def _orders_rounded(k: float, k_plate: float, diameter_um: int) -> Complex:
    return scattered_orders(k, k_plate, diameter_um / 1000)


def hole_echo(hole: Hole, joint: Joint, head: Head, channel: Channel, positions_mm: Floats) -> Complex:
    """Echo of a hole at every scan position, shape (n,), unscaled.

    The thickness step is left out: the hole is taken to sit in one even sheet.
    """
    diameter = hole.diameter_mm
    if hole.side is not Side.THROUGH:
        diameter *= min(hole.depth_mm / joint.mean_mm, 1.0) ** BLIND_EXPONENT
    k = head.wavenumber_per_mm()
    # Rounded to a micrometre, so that a large shop does not solve the same hole twice.
    orders = _orders_rounded(k, head.plate_wavenumber_per_mm(), max(round(diameter * 1000), 1))
    lit = beam(head, channel)
    xi = hole.x_mm - (positions_mm - head.axis_offset_mm(channel))
    total = orders[0] * lit.order_pair(0, xi)
    for n in range(1, HOLE_ORDERS + 1):
        total = total + 2 * (-1) ** n * orders[n] * lit.order_pair(n, xi)
    return np.asarray(k * total)
