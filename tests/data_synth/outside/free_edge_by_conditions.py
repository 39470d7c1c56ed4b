"""Echo of a traction-free edge with no closed reflection coefficient in it.

For each plane wave of the aperture the two conditions of a free edge in plane stress are solved
as they stand, and the waves are summed by adaptive quadrature.
"""

from __future__ import annotations

import itertools

import numpy as np
import numpy.typing as npt
from scipy.integrate import quad

from seamtell.data_synth.head import Head

__all__ = ["free_edge_by_conditions"]

Complex = npt.NDArray[np.complex128]


def free_edge_by_conditions(head: Head, tilt_sin: float) -> complex:
    """Echo of an edge along the seam, sent and received with the same tilt."""
    k, k_plate, a = head.wavenumber_per_mm(), head.plate_wavenumber_per_mm(), head.aperture_sd_mm
    lame = (k / k_plate) ** 2 - 2

    def of_angle(angle: float) -> complex:
        k_x, k_y = k * np.sin(angle), k * np.cos(angle)
        stretch = np.sqrt(complex(k_plate**2 - k_x**2))
        back = np.column_stack(
            [_traction(1, 0, k_x, -k_y, -stretch, lame), _traction(0, 1, k_x, -k_y, -stretch, lame)]
        )
        ratio = np.linalg.solve(back, -_traction(1, 0, k_x, k_y, stretch, lame))[0]
        # sent along k_x, heard from -k_x by an aperture that looks along +tilt
        overlap = (a * (k_x - k * tilt_sin)) ** 2 + (a * (-k_x - k * tilt_sin)) ** 2
        return complex(2 * k * a**2 * ratio * np.exp(-overlap / 2 + 2j * k_y * head.stand_off_mm))

    grazing = float(np.arcsin(k_plate / k))
    edges = [-1.55, -grazing, 0.0, grazing, 1.55]
    parts = list(itertools.pairwise(edges))
    real = sum(quad(lambda t: of_angle(t).real, *part, epsabs=1e-7)[0] for part in parts)
    imaginary = sum(quad(lambda t: of_angle(t).imag, *part, epsabs=1e-7)[0] for part in parts)
    return complex(real + 1j * imaginary)


def _traction(
    psi: complex, phi: complex, k_x: float, shear_y: complex, stretch_y: complex, lame: float
) -> Complex:
    """(sigma_yy, sigma_xy) of psi e^{i(k_x x + shear_y y)} and phi e^{i(k_x x + stretch_y y)}, by Hooke."""
    u_x = 1j * np.array([k_x * phi, shear_y * psi])  # the parts that go with either wave
    u_y = 1j * np.array([stretch_y * phi, -k_x * psi])
    y = np.array([stretch_y, shear_y])
    normal = np.sum(2j * y * u_y + lame * (1j * k_x * u_x + 1j * y * u_y))
    return np.array([normal, np.sum(1j * y * u_x + 1j * k_x * u_y)])
