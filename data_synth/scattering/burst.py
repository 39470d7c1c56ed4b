"""From echoes at several frequencies to what a gated envelope detector reads of a burst.

The head sends a few cycles under a Hann window; the instrument takes the largest
envelope within a gate around the arrival along the beam's axis. With the travel along
the axis taken off, an echo changes smoothly over the band, so that a few frequencies and
a polynomial between them stand for all.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import cos, pi

import numpy as np

from seamtell.data_synth.arrays import Complex, Floats
from seamtell.data_synth.head import Head
from seamtell.data_synth.scattering.beam import free_edge_echo
from seamtell.features.contracts import Channel
from seamtell.features.errors import SeamtellError

__all__ = ["BurstReading", "burst_frequencies_mhz", "burst_reading", "free_edge_envelope", "hann_spectrum"]

_FINE = 64
_TIME_STEP_US = 0.25
_LEAST_CYCLES = 2.5


def hann_spectrum(frequency_mhz: Floats, centre_mhz: float, cycles: float) -> Floats:
    """Spectrum of a Hann burst that is centred in time, 1 at its centre frequency.

    Examples
    --------
    >>> [round(float(v), 2) for v in hann_spectrum(np.array([0.6, 0.7333, 0.8]), 0.6, 4.5)]
    [1.0, 0.5, 0.17]
    """
    turns = (frequency_mhz - centre_mhz) * cycles / centre_mhz
    return np.asarray((np.sinc(turns - 1) + np.sinc(turns + 1)) / 2 + np.sinc(turns))


def burst_frequencies_mhz(head: Head, n: int) -> Floats:
    """Chebyshev points over the main lobe of the burst's spectrum, shape (n,).

    Raises
    ------
    SeamtellError
        The burst is so short that its band would reach down to nothing, or `n` is no number of points.
    """
    if head.burst_cycles <= _LEAST_CYCLES:
        raise SeamtellError(f"burst of {head.burst_cycles:g} cycles, expected more than {_LEAST_CYCLES:g}")
    if n < 1:
        raise SeamtellError(f"{n} frequencies for a burst, expected 1 or more")
    half_band = 2 * head.frequency_mhz / head.burst_cycles
    return head.frequency_mhz + half_band * np.cos(pi * (np.arange(n) + 0.5) / n)


@dataclass(frozen=True, eq=False)
class BurstReading:
    """How one channel reads a burst.

    Parameters
    ----------
    weights : complex array of shape (times, n)
        From echoes at n frequencies to the analytic signal at times in the gate.
    """

    weights: Complex

    def largest(self, echoes: Complex) -> Complex:
        """Analytic signal where its envelope in the gate is largest, shape (positions,).

        Parameters
        ----------
        echoes : complex array of shape (n, positions)
        """
        signal = self.weights @ echoes
        at = np.argmax(np.abs(signal), axis=0)
        return np.asarray(signal[at, np.arange(signal.shape[1])])


@lru_cache(maxsize=32)
def burst_reading(head: Head, channel: Channel, n: int) -> BurstReading:
    """Build the reading of one channel from `n` frequencies; kept for the next call."""
    nodes = burst_frequencies_mhz(head, n)
    fine = burst_frequencies_mhz(head, _FINE)
    # Chebyshev points weigh alike under the cosine substitution, whose slope is the sine.
    slope = np.sin(pi * (np.arange(_FINE) + 0.5) / _FINE)
    start, end = head.gate_us
    times = np.linspace(start, end, int(np.ceil((end - start) / _TIME_STEP_US)) + 1)
    strength = slope * hann_spectrum(fine, head.frequency_mhz, head.burst_cycles)
    turned = np.exp(-2j * pi * np.outer(times, fine - head.frequency_mhz))
    travel = _axis_phase(head, channel, head.frequency_mhz) / _axis_phase(head, channel, nodes)
    weights = turned @ (strength[:, None] * _interpolation(nodes, fine)) * travel
    return BurstReading(weights / np.sum(strength))


def _axis_phase(head: Head, channel: Channel, frequency_mhz: Floats | float) -> Complex:
    """Phase of the way along the beam's axis to the seam and back."""
    path_mm = 2 * head.stand_off_mm / cos(head.tilt_rad(channel))
    return np.exp(2j * pi * np.asarray(frequency_mhz) / head.material.c_shear_mm_per_us * path_mm)


def _interpolation(nodes: Floats, fine: Floats) -> Floats:
    """Values of the Lagrange polynomials of `nodes` at `fine`, shape (fine, nodes)."""
    products = [
        np.prod([(fine - other) / (node - other) for other in nodes if other != node], axis=0)
        for node in nodes
    ]
    return np.stack([np.broadcast_to(product, fine.shape) for product in products], axis=1)


@lru_cache(maxsize=32)
def free_edge_envelope(head: Head, n: int) -> float:
    """Largest envelope of the free edge in the untilted beam: the reference of 100 %."""
    echoes = [free_edge_echo(head.at_frequency(float(f))) for f in burst_frequencies_mhz(head, n)]
    reading = burst_reading(head, Channel.SPECULAR, n)
    return float(np.abs(reading.largest(np.array(echoes)[:, None]))[0])
