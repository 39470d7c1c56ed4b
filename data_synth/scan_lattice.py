"""Working out echoes on a coarse even lattice of head positions and reading them in between.

Along the scan an echo is narrow-banded: each of its two ways holds wavenumbers of the
beam, spread by one over the aperture around the axis' own. With the axis' phase taken
off, a cubic spline through a few points a beam width carries it; real positions, which
an encoder leaves uneven, cost nothing more.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from math import floor

import numpy as np
from scipy.interpolate import CubicSpline

from seamtell.data_synth.arrays import Complex, Floats
from seamtell.data_synth.head import Head
from seamtell.features.contracts import Channel

__all__ = ["EchoesAt", "read_between"]

EchoesAt = Callable[[Floats], Mapping[Channel, Complex]]
"""Echoes of both channels at given head positions."""

_STEPS_PER_APERTURE = 4
_GRAIN_MM = 0.05
_BEYOND = 6


def read_between(echoes_at: EchoesAt, head: Head, positions_mm: Floats) -> Mapping[Channel, Complex]:
    """Echoes at rising positions, through the lattice where that is less work.

    The spline is good to 1e-3 of the largest echo, mostly to 1e-4.
    """
    step = max(floor(head.aperture_sd_mm / _STEPS_PER_APERTURE / _GRAIN_MM), 1) * _GRAIN_MM
    if len(positions_mm) < 2:
        return echoes_at(positions_mm)
    first = floor(positions_mm[0] / step) - _BEYOND
    n = floor(positions_mm[-1] / step) + _BEYOND + 2 - first
    if n >= len(positions_mm):
        return echoes_at(positions_mm)
    nodes = step * (first + np.arange(n))
    # A flaw farther along the head's axis turns the echo the other way.
    turns = np.array([2 * head.trace_wavenumber_per_mm(channel) for channel in Channel])
    echoes = echoes_at(nodes)
    slow = np.stack([echoes[channel] for channel in Channel], axis=1) * np.exp(1j * np.outer(nodes, turns))
    read = CubicSpline(nodes, slow)(positions_mm) * np.exp(-1j * np.outer(positions_mm, turns))
    return dict(zip(Channel, read.T, strict=True))
