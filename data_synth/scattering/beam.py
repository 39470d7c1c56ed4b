"""The beam of one channel on the seam: exact angular spectrum, with its phase curvature.

A Gaussian aperture sends a bundle of plane SH0 waves, one for each angle phi. On the
seam they add up to stresses that are not a Gaussian with a plane phase: at a stand-off
of three wavelengths the curvature alone changes the width of an echo by a third.
Stresses are divided by the shear modulus; time goes as exp(-i omega t).

References
----------
The angular spectrum of plane waves is textbook wave optics. Plane-stress stresses from
the stream function psi, u = (psi_y, -psi_x).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import pi, sin, sqrt

import numpy as np

from seamtell.data_synth.arrays import Complex, Floats
from seamtell.data_synth.head import Head
from seamtell.features.contracts import Channel

__all__ = ["HOLE_ORDERS", "Beam", "beam", "free_edge_echo"]

HOLE_ORDERS = 8
"""Highest angular order of a hole; the orders above carry nothing for holes below 3 mm."""

_N_ANGLES = 1600
_SPACING_MM = 0.05
_REACH_MM = 40.0


@dataclass(frozen=True, eq=False)
class Beam:
    """Tables over the distance xi from the aperture's centre to a point of the seam.

    Each table is stored without the axis' own phase, which :meth:`shear` and the
    others put back, so that straight interpolation between entries is good to 1e-4.
    Beyond the table, 40 mm from where the axis meets the seam, the beam counts as zero.
    """

    head: Head
    channel: Channel
    _start_mm: float
    _shear: Complex
    _normal: Complex
    _scalar: Complex
    _pairs: Complex

    def shear(self, xi_mm: Floats) -> Complex:
        """Stress sigma_xy on the seam at `xi_mm`, any shape."""
        return self._read(self._shear, xi_mm, 1)

    def normal(self, xi_mm: Floats) -> Complex:
        """Stress sigma_yy on the seam."""
        return self._read(self._normal, xi_mm, 1)

    def scalar(self, xi_mm: Floats) -> Complex:
        """Traction of the scalar (anti-plane) twin of the problem."""
        return self._read(self._scalar, xi_mm, 1)

    def order_pair(self, order: int, xi_mm: Floats) -> Complex:
        """Product of the incident angular orders `order` and ``-order`` about a point at `xi_mm`."""
        return self._read(self._pairs[order], xi_mm, 2)

    def _read(self, table: Complex, xi_mm: Floats, ways: int) -> Complex:
        place = (xi_mm - self._start_mm) / _SPACING_MM
        inside = (place >= 0) & (place < len(table) - 1)
        index = np.where(inside, place, 0).astype(np.intp)
        share = place - index
        value = table[index] * (1 - share) + table[index + 1] * share
        wavenumber = ways * self.head.trace_wavenumber_per_mm(self.channel)
        if wavenumber:
            value = value * np.exp(1j * wavenumber * xi_mm)
        return np.where(inside, value, 0)


def _angles() -> tuple[Floats, float]:
    step = pi / _N_ANGLES
    return -pi / 2 + step * (np.arange(_N_ANGLES) + 0.5), step


def _spectrum(head: Head, tilt_rad: float) -> tuple[Floats, Complex]:
    """Angles and the complex weight of each plane wave on the seam, shapes (n,)."""
    angle, step = _angles()
    k, a = head.wavenumber_per_mm(), head.aperture_sd_mm
    mistilt = k * np.sin(angle) - k * sin(tilt_rad)
    travelled = 1j * k * np.cos(angle) * head.stand_off_mm
    weight = a * sqrt(2 * pi) / pi * step * np.exp(-((a * mistilt) ** 2) / 2 + travelled)
    return angle, np.asarray(weight, dtype=np.complex128)


@lru_cache(maxsize=32)
def beam(head: Head, channel: Channel) -> Beam:
    """Tabulate the beam of one channel; kept for the next call."""
    k = head.wavenumber_per_mm()
    angle, weight = _spectrum(head, head.tilt_rad(channel))
    k_x, k_y = k * np.sin(angle), k * np.cos(angle)
    middle = head.axis_offset_mm(channel)
    xi = np.arange(middle - _REACH_MM, middle + _REACH_MM, _SPACING_MM)
    axis = head.trace_wavenumber_per_mm(channel)
    waves = np.exp(1j * np.outer(xi, k_x - axis))
    orders = np.arange(-HOLE_ORDERS, HOLE_ORDERS + 1)
    about = waves @ (weight[:, None] * np.exp(1j * np.outer(angle, orders)))
    return Beam(
        head,
        channel,
        float(xi[0]),
        waves @ (weight * (k_x**2 - k_y**2)),
        waves @ (weight * 2 * k_x * k_y),
        waves @ (-weight * k * k_y),
        np.ascontiguousarray((about * about[:, ::-1])[:, HOLE_ORDERS:].T),
    )


@lru_cache(maxsize=32)
def free_edge_echo(head: Head) -> complex:
    """Echo of a free edge at the seam in the untilted beam: the reference of 100 %.

    The reflection of in-plane shear at a traction-free edge includes the loss to S0.

    Examples
    --------
    >>> echo = free_edge_echo(Head())
    >>> round(echo.real, 3), round(echo.imag, 3)
    (14.996, 5.725)
    """
    angle, step = _angles()
    k, k_plate, a = head.wavenumber_per_mm(), head.plate_wavenumber_per_mm(), head.aperture_sd_mm
    k_x = k * np.sin(angle)
    beta, alpha = k * np.cos(angle), np.sqrt((k_plate**2 - k_x**2).astype(complex))
    squared, product = (k**2 - 2 * k_x**2) ** 2, 4 * k_x**2 * alpha * beta
    reflection = -(squared - product) / (squared + product)
    aperture = a * sqrt(2 * pi) * np.exp(-((a * k_x) ** 2) / 2)
    total = np.sum(aperture**2 * reflection * np.exp(2j * beta * head.stand_off_mm))
    return complex(k / pi * step * total)
