"""The one interface of the guided-wave model: flaws, joint, head, positions in, two line scans out.

Everything behind it may be replaced; whoever asks for a scan stays the same.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from seamtell.data_synth.arrays import Complex, Floats
from seamtell.data_synth.flaws import FlawGeometry, Hole, Mismatch, Slot
from seamtell.data_synth.head import Head, Joint
from seamtell.data_synth.scattering.beam import free_edge_echo
from seamtell.data_synth.scattering.hole import hole_echo
from seamtell.data_synth.scattering.slot import slot_echo
from seamtell.data_synth.scattering.sound_seam import sound_echo
from seamtell.data_synth.scattering.thickness_change import mismatch_echo, rough_joint_echo
from seamtell.features.contracts import Channel

__all__ = ["LineScan", "flaw_echo_pct", "line_scan"]


_REACH_MM = 25.0
"""Farther from a flaw its echo is below 0.01 % and is not worked out."""


@dataclass(frozen=True, eq=False)
class LineScan:
    """Complex amplitudes of both channels, % of the free-edge echo, shape (n,) each."""

    positions_mm: Floats
    specular: Complex
    scatter: Complex

    def amplitude_pct(self, channel: Channel) -> Floats:
        """What an instrument without noise records of a channel."""
        return np.abs(self.specular if channel is Channel.SPECULAR else self.scatter)


def line_scan(flaws: Sequence[FlawGeometry], joint: Joint, head: Head, positions_mm: Floats) -> LineScan:
    """Scan a seam: the sound joint's echo and those of all flaws, added as complex numbers.

    Flaws do not scatter into each other. Centre frequency only.

    Parameters
    ----------
    flaws : sequence of FlawGeometry
    joint : Joint
    head : Head
    positions_mm : float array of shape (n,)
        Where the beam's axis meets the seam, rising.

    Examples
    --------
    >>> scan = line_scan((), Joint(1.5, 1.3), Head(), np.arange(0.0, 3.0))
    >>> [round(float(v), 2) for v in scan.amplitude_pct(Channel.SPECULAR)]
    [6.83, 6.83, 6.83]
    """
    positions = np.asarray(positions_mm, dtype=np.float64)
    per_cent = 100 / abs(free_edge_echo(head))
    sums = {
        channel: np.full(len(positions), sound_echo(joint, head, channel) * per_cent) for channel in Channel
    }
    for flaw in flaws:
        first, last = flaw.extent_mm
        near = slice(*np.searchsorted(positions, [first - _REACH_MM, last + _REACH_MM]))
        for channel in Channel:
            sums[channel][near] += flaw_echo_pct(flaw, joint, head, channel, positions[near])
    return LineScan(positions, sums[Channel.SPECULAR], sums[Channel.SCATTER])


def flaw_echo_pct(
    flaw: FlawGeometry, joint: Joint, head: Head, channel: Channel, positions_mm: Floats
) -> Complex:
    """Echo of one flaw alone in % of the free-edge echo, shape (n,)."""
    if isinstance(flaw, Hole):
        echo = hole_echo(flaw, joint, head, channel, positions_mm)
    elif isinstance(flaw, Slot):
        echo = slot_echo(flaw, joint, head, channel, positions_mm)
    elif isinstance(flaw, Mismatch):
        echo = mismatch_echo(flaw, joint, head, channel, positions_mm)
    else:
        echo = rough_joint_echo(flaw, joint, head, channel, positions_mm)
    return echo * (100 / abs(free_edge_echo(head)))
