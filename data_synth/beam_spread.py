"""Size of a head's beam by closed forms: quick, for judging a head before anything is worked out exactly."""

from __future__ import annotations

from math import cos, sqrt

from seamtell.data_synth.head import Head
from seamtell.features.contracts import Channel

__all__ = ["beam_sd_mm", "wavelength_mm"]


def wavelength_mm(head: Head) -> float:
    """Wavelength of SH0 at the centre frequency."""
    return head.material.c_shear_mm_per_us / head.frequency_mhz


def beam_sd_mm(head: Head, channel: Channel) -> float:
    """Standard deviation along the seam of the one-way amplitude, as a Gaussian beam spreads.

    a sqrt(1 + (Y / (k a² cos³ tilt))²) for an aperture a at the stand-off Y.

    References
    ----------
    H. Kogelnik and T. Li, *Laser beams and resonators*, Applied Optics 5 (1966), from memory.

    Examples
    --------
    >>> round(2 * beam_sd_mm(Head(), Channel.SPECULAR) * sqrt(0.6931), 1)  # two-way half width
    9.4
    """
    k, a = head.wavenumber_per_mm(), head.aperture_sd_mm
    return a * sqrt(1 + (head.stand_off_mm / (k * a**2 * cos(head.tilt_rad(channel)) ** 3)) ** 2)
