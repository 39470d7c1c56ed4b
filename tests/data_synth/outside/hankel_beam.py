"""The head's beam without plane waves: every point of the aperture sends a circular wave.

psi(x, y) = integral over the aperture of s(x') H0(k R), R the distance (Huygens and
Rayleigh in two dimensions, textbook). Stresses are its derivatives, taken by hand from
H0' = -H1; echoes are what the same aperture hears of a field. Plain sums over the
aperture: a Gaussian is integrated by them to machine accuracy.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import hankel1, jv

__all__ = ["HankelBeam"]

Complex = npt.NDArray[np.complex128]
Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class HankelBeam:
    """A Gaussian aperture on the line y = 0 about x = 0, tilted by `tilt_sin`; the seam is at `seam_mm`."""

    k: float
    sd_mm: float
    seam_mm: float
    tilt_sin: float

    @property
    def _points(self) -> tuple[Floats, Complex]:
        step = 0.25
        x = np.arange(-7 * self.sd_mm, 7 * self.sd_mm, step)
        weight = step * np.exp(-(x**2) / (2 * self.sd_mm**2) + 1j * self.k * self.tilt_sin * x)
        return x, weight

    def psi(self, x_mm: Floats, y_mm: Floats | float) -> Complex:
        """Stream function at points of a common shape."""
        at, weight = self._points
        x, y = np.broadcast_arrays(x_mm, y_mm)
        return np.asarray(hankel1(0, self.k * np.hypot(x[..., None] - at, y[..., None])) @ weight)

    def curvature(self, x_mm: Floats, y_mm: Floats) -> tuple[Complex, Complex, Complex]:
        """psi_xx, psi_yy and psi_xy at points of shape (n,)."""
        at, weight = self._points
        dx, dy = x_mm[:, None] - at, y_mm[:, None]
        r = np.hypot(dx, dy)
        first = -self.k * hankel1(1, self.k * r)
        second = -(self.k**2) * hankel1(0, self.k * r) - first / r
        bend = (second - first / r) / r**2
        xx, yy, xy = bend * dx**2 + first / r, bend * dy**2 + first / r, bend * dx * dy
        return xx @ weight, yy @ weight, xy @ weight

    def stresses(self, xi_mm: Floats) -> tuple[Complex, Complex, Complex]:
        """Shear psi_yy - psi_xx, normal -2 psi_xy, and ik psi_y of the scalar twin, on the seam."""
        at, weight = self._points
        xx, yy, xy = self.curvature(xi_mm, np.full(len(xi_mm), self.seam_mm))
        r = np.hypot(xi_mm[:, None] - at, self.seam_mm)
        slope = -self.k * hankel1(1, self.k * r) * self.seam_mm / r
        return yy - xx, -2 * xy, 1j * self.k * slope @ weight

    def heard(self, x_mm: float, orders: Floats) -> Complex:
        """What the aperture hears of H_n(kr) e^{i n theta} about a point of the seam, shape of `orders`."""
        at, weight = self._points
        dx, dy = at - x_mm, -self.seam_mm
        wave = hankel1(orders[:, None], self.k * np.hypot(dx, dy))
        return np.asarray(self.k * (wave * np.exp(1j * orders[:, None] * np.arctan2(dy, dx))) @ weight)

    def echo_of_hole(self, x_mm: float, orders: Floats, transition: Complex) -> complex:
        """Echo of a scatterer on the seam: expand the beam about it on a circle, send back, listen.

        `transition`: what leaves as H_n for one J_n, shape of `orders`.
        """
        angle, radius = np.arange(64) * 2 * np.pi / 64, 1.0
        around = self.psi(x_mm + radius * np.cos(angle), self.seam_mm + radius * np.sin(angle))
        waves = np.exp(-1j * np.outer(orders, angle)) @ around / 64
        sent = transition * waves / jv(orders, self.k * radius)
        return complex(sent @ self.heard(x_mm, orders))
