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
from functools import cached_property, lru_cache
from math import pi, sin, sqrt

import numpy as np

from seamtell.data_synth.arrays import Complex, Floats
from seamtell.data_synth.head import Head
from seamtell.data_synth.scattering.table_reading import read_table
from seamtell.features.contracts import Channel

__all__ = ["HOLE_ORDERS", "Beam", "beam", "free_edge_echo"]

HOLE_ORDERS = 8
"""Highest angular order of a hole; the orders above carry nothing for holes below 3 mm."""

_N_ANGLES = 1600
_SPACING_MM = 0.05
_REACH_MM = 40.0
_FAINT = 0.015


@dataclass(frozen=True, eq=False)
class Beam:
    """Tables over the distance xi from the aperture's centre to a point of the seam.

    Each table is stored without the axis' own phase, which the reading puts back, so
    that straight interpolation between entries is good to 1e-4. Beyond the table, 40 mm
    from where the axis meets the seam, the beam counts as zero.
    """

    head: Head
    channel: Channel
    _start_mm: float
    _shear: Complex
    _normal: Complex
    _scalar: Complex
    _orders: Complex

    def shear(self, xi_mm: Floats) -> Complex:
        """Stress sigma_xy on the seam at `xi_mm`, any shape."""
        return self._read(self._shear, xi_mm, 1)

    def normal(self, xi_mm: Floats) -> Complex:
        """Stress sigma_yy on the seam."""
        return self._read(self._normal, xi_mm, 1)

    def scalar(self, xi_mm: Floats) -> Complex:
        """Traction of the scalar (anti-plane) twin of the problem."""
        return self._read(self._scalar, xi_mm, 1)

    def orders(self, xi_mm: Floats) -> Complex:
        """Incident angular orders -8 to 8 about points at `xi_mm`, shape (17, n).

        The field near the point is the sum over n of the n-th value times
        J_n(kr) exp(i n theta), theta counted from the seam's direction.
        """
        return np.stack([self._read(row, xi_mm, 1) for row in self._orders])

    def paired_orders(self, weights: Complex, xi_mm: Floats) -> Complex:
        """Sum over n of weight times incident order n times incident order -n, shape of `xi_mm`.

        Parameters
        ----------
        weights : complex array of shape (17,)
            For the orders -8 to 8.
        """
        return self._read(weights @ self._pairs, xi_mm, 2)

    @cached_property
    def heard_mm(self) -> tuple[float, float]:
        """How far before and behind a point of the seam the head still hears it.

        Beyond, the two-way beam is below `_FAINT` squared of its strongest.
        """
        strength = np.abs(self._orders).max(axis=0)
        lit = np.flatnonzero(strength > _FAINT * strength.max())
        from_axis = self._start_mm + _SPACING_MM * lit[[0, -1]] - self.head.axis_offset_mm(self.channel)
        return float(from_axis[1]), float(-from_axis[0])

    @cached_property
    def _pairs(self) -> Complex:
        return self._orders * self._orders[::-1]

    def _read(self, table: Complex, xi_mm: Floats, ways: int) -> Complex:
        wavenumber = ways * self.head.trace_wavenumber_per_mm(self.channel)
        return read_table(table, self._start_mm, _SPACING_MM, wavenumber, xi_mm)


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


@lru_cache(maxsize=64)
def beam(head: Head, channel: Channel) -> Beam:
    """Tabulate the beam of one channel; kept for the next call."""
    k = head.wavenumber_per_mm()
    angle, weight = _spectrum(head, head.tilt_rad(channel))
    k_x, k_y = k * np.sin(angle), k * np.cos(angle)
    middle = head.axis_offset_mm(channel)
    xi = np.arange(middle - _REACH_MM, middle + _REACH_MM, _SPACING_MM)
    waves = _waves(k_x - head.trace_wavenumber_per_mm(channel), float(xi[0]), len(xi))
    orders = np.arange(-HOLE_ORDERS, HOLE_ORDERS + 1)
    about = waves @ (weight[:, None] * np.exp(1j * np.outer(angle, orders)))
    factors = (k_x**2 - k_y**2, 2 * k_x * k_y, -k * k_y)
    stresses = np.ascontiguousarray((waves @ (weight[:, None] * np.stack(factors, axis=1))).T)
    orders_table = np.ascontiguousarray(about.T)
    return Beam(head, channel, float(xi[0]), stresses[0], stresses[1], stresses[2], orders_table)


def _waves(k_x: Floats, start_mm: float, n: int) -> Complex:
    """exp(i k_x xi) on the table's positions, shape (n, angles); built by repeated squaring."""
    waves = np.empty((n, len(k_x)), dtype=complex)
    waves[0] = np.exp(1j * k_x * start_mm)
    filled = 1
    while filled < n:
        more = min(filled, n - filled)
        waves[filled : filled + more] = waves[:more] * np.exp(1j * k_x * _SPACING_MM * filled)
        filled += more
    return waves


@lru_cache(maxsize=64)
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
