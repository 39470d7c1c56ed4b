"""What the theory says of a reference blank, for any aperture of the head: tabulated once, read often.

At the centre frequency, as simulated flaws are implanted: the gain that is fitted here
then makes up for what that leaves out of the burst.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from seamtell.data_synth.head import Head
from seamtell.data_synth.line_scan import line_scan
from seamtell.data_synth.scattering.beam import beam
from seamtell.data_synth.validity import check_head
from seamtell.features.contracts import Channel
from seamtell.features.errors import SeamtellError
from seamtell.pipeline.physics.blank_file import Blank

__all__ = ["BlankTheory", "beam_width_mm", "blank_theory"]

_APERTURE_SHARES = np.geomspace(0.62, 1.6, 11)
"""Apertures of the table over that of the physics file; straight on a logarithmic scale."""
_SPACING_MM = 0.25
_BEYOND_MM = 6.0


@dataclass(frozen=True, eq=False)
class BlankTheory:
    """Amplitudes of a blank over position and aperture.

    Parameters
    ----------
    apertures_mm : float array of shape (m,)
        Rising; outside of it nothing is known.
    """

    apertures_mm: NDArray[np.float64]
    _positions_mm: NDArray[np.float64]
    _echoes: Mapping[Channel, CubicSpline]

    def amplitude_pct(
        self, channel: Channel, aperture_sd_mm: float, positions_mm: NDArray[np.float64]
    ) -> NDArray[np.float64]:
        """Amplitude of sound seam and flaws together, % of free edge, shape of `positions_mm`."""
        echo = self._echoes[channel](np.log(aperture_sd_mm))
        return np.asarray(np.abs(CubicSpline(self._positions_mm, echo)(positions_mm)), dtype=np.float64)


def blank_theory(blank: Blank, head: Head) -> BlankTheory:
    """Scan the blank with heads of eleven apertures; those outside the theory's range are left out.

    Raises
    ------
    BadInput
        The blank is outside the theory's range.
    """
    blank.check_range(head)
    apertures = np.array([a for a in head.aperture_sd_mm * _APERTURE_SHARES if _answers(head, a)])
    positions = np.arange(-_BEYOND_MM, blank.length_mm + _BEYOND_MM, _SPACING_MM)
    flaws = [flaw.geometry for flaw in blank.flaws]
    scans = [
        line_scan(flaws, blank.joint, replace(head, aperture_sd_mm=float(a)), positions) for a in apertures
    ]
    echoes = {
        Channel.SPECULAR: np.stack([scan.specular for scan in scans]),
        Channel.SCATTER: np.stack([scan.scatter for scan in scans]),
    }
    tables = {channel: CubicSpline(np.log(apertures), table) for channel, table in echoes.items()}
    return BlankTheory(apertures, positions, tables)


def _answers(head: Head, aperture_sd_mm: float) -> bool:
    try:
        check_head(replace(head, aperture_sd_mm=float(aperture_sd_mm)))
    except SeamtellError:
        return False
    return True


def beam_width_mm(head: Head) -> float:
    """Full width at half maximum of the two-way specular beam along the seam.

    That of the echo of a small scatterer drawn through the beam, from the exact angular
    spectrum.

    Examples
    --------
    >>> round(beam_width_mm(Head()), 1)
    9.5
    """
    lit = beam(head, Channel.SPECULAR)
    xi = np.arange(0.0, 30.0, 0.01)
    two_way = np.abs(lit.scalar(xi)) ** 2
    below = int(np.argmax(two_way < two_way[0] / 2))
    high, low = two_way[below - 1], two_way[below]
    share = (high - two_way[0] / 2) / (high - low)
    return float(2 * (xi[below - 1] + share * 0.01))
