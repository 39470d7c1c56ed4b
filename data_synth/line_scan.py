"""The one interface of the guided-wave model: flaws, joint, head, positions in, two line scans out.

Everything behind it may be replaced; whoever asks for a scan stays the same.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from seamtell.data_synth.arrays import Complex, Floats
from seamtell.data_synth.flaws import FlawGeometry, Hole, Mismatch, RoughJoint, Slot
from seamtell.data_synth.head import Head, Joint
from seamtell.data_synth.scan_lattice import EchoesAt, read_between
from seamtell.data_synth.scattering.beam import beam, free_edge_echo
from seamtell.data_synth.scattering.burst import burst_frequencies_mhz, burst_reading, free_edge_envelope
from seamtell.data_synth.scattering.coupling import coupled_echoes, grouped
from seamtell.data_synth.scattering.hole import hole_echo
from seamtell.data_synth.scattering.slot import slot_echo
from seamtell.data_synth.scattering.sound_seam import sound_echo
from seamtell.data_synth.scattering.thickness_change import mismatch_echo, rough_joint_echo
from seamtell.features.contracts import Channel

__all__ = ["BURST_FREQUENCIES", "LineScan", "flaw_echo_pct", "line_scan", "unscaled_echoes"]

BURST_FREQUENCIES = 7
"""Frequencies that stand for a burst of 4.5 cycles as well as 13 do."""


@dataclass(frozen=True, eq=False)
class LineScan:
    """Complex amplitudes of both channels, % of the free-edge echo, shape (n,) each.

    Of a burst each value is the analytic signal where its envelope in the gate is
    largest, in % of the free edge's largest envelope; at one frequency it is the echo
    there. Either way its magnitude is what an instrument records.
    """

    positions_mm: Floats
    specular: Complex
    scatter: Complex

    def amplitude_pct(self, channel: Channel) -> Floats:
        """What an instrument without noise records of a channel."""
        return np.abs(self.specular if channel is Channel.SPECULAR else self.scatter)


def line_scan(
    flaws: Sequence[FlawGeometry],
    joint: Joint,
    head: Head,
    positions_mm: Floats,
    *,
    frequencies: int = 1,
) -> LineScan:
    """Scan a seam: the sound joint's echo and those of all flaws, added as complex numbers.

    Holes and slots close together scatter into each other; everything else simply adds.

    Parameters
    ----------
    flaws : sequence of FlawGeometry
    joint : Joint
    head : Head
    positions_mm : float array of shape (n,)
        Where the beam's axis meets the seam, rising.
    frequencies : int, default 1
        1: centre frequency only, the fast way. More: the head's burst through its gate,
        from so many frequencies; ``BURST_FREQUENCIES`` are enough.

    Examples
    --------
    >>> scan = line_scan((), Joint(1.5, 1.3), Head(), np.arange(0.0, 3.0))
    >>> [round(float(v)) for v in scan.amplitude_pct(Channel.SPECULAR)]
    [7, 7, 7]
    """
    positions = np.asarray(positions_mm, dtype=np.float64)
    if frequencies == 1:
        echoes = unscaled_echoes(flaws, joint, head, positions)
        whole = abs(free_edge_echo(head))
    else:
        echoes = _burst_echoes(flaws, joint, head, positions, frequencies)
        whole = free_edge_envelope(head, frequencies)
    specular, scatter = (echoes[channel] * (100 / whole) for channel in (Channel.SPECULAR, Channel.SCATTER))
    return LineScan(positions, specular, scatter)


def _burst_echoes(
    flaws: Sequence[FlawGeometry], joint: Joint, head: Head, positions: Floats, frequencies: int
) -> Mapping[Channel, Complex]:
    heads = [head.at_frequency(float(f)) for f in burst_frequencies_mhz(head, frequencies)]
    spectrum = [unscaled_echoes(flaws, joint, tuned, positions) for tuned in heads]
    return {
        channel: burst_reading(head, channel, frequencies).largest(np.stack([at[channel] for at in spectrum]))
        for channel in Channel
    }


def unscaled_echoes(
    flaws: Sequence[FlawGeometry], joint: Joint, head: Head, positions: Floats
) -> Mapping[Channel, Complex]:
    """Echoes of the seam and its flaws at the head's own frequency, not yet in per cent."""
    sums = {channel: np.full(len(positions), sound_echo(joint, head, channel)) for channel in Channel}
    for group in grouped([flaw for flaw in flaws if isinstance(flaw, Hole | Slot)]):
        if len(group) > 1:
            _add_near(sums, group, head, positions, partial(coupled_echoes, group, joint, head))
        else:
            _add_near(sums, group, head, positions, partial(_both_channels, group[0], joint, head))
    for flaw in flaws:
        if isinstance(flaw, Mismatch | RoughJoint):
            _add_near(sums, [flaw], head, positions, partial(_both_channels, flaw, joint, head))
    return sums


def _add_near(
    sums: Mapping[Channel, Complex],
    group: Sequence[FlawGeometry],
    head: Head,
    positions: Floats,
    echoes_at: EchoesAt,
) -> None:
    """Add the echoes of one flaw or group where it can be heard."""
    first = min(flaw.extent_mm[0] for flaw in group)
    last = max(flaw.extent_mm[1] for flaw in group)
    before, behind = np.max([beam(head, channel).heard_mm for channel in Channel], axis=0)
    near = slice(*np.searchsorted(positions, [first - before, last + behind]))
    if near.start == near.stop:
        return
    # A rough joint has a fast way of its own on the positions as they are.
    direct = isinstance(group[0], RoughJoint)
    where = positions[near]
    for channel, echo in (echoes_at(where) if direct else read_between(echoes_at, head, where)).items():
        sums[channel][near] += echo


def _both_channels(
    flaw: FlawGeometry, joint: Joint, head: Head, positions: Floats
) -> Mapping[Channel, Complex]:
    return {channel: _flaw_echo(flaw, joint, head, channel, positions) for channel in Channel}


def _flaw_echo(
    flaw: FlawGeometry, joint: Joint, head: Head, channel: Channel, positions_mm: Floats
) -> Complex:
    if isinstance(flaw, Hole):
        return hole_echo(flaw, joint, head, channel, positions_mm)
    if isinstance(flaw, Slot):
        return slot_echo(flaw, joint, head, channel, positions_mm)
    if isinstance(flaw, Mismatch):
        return mismatch_echo(flaw, joint, head, channel, positions_mm)
    return rough_joint_echo(flaw, joint, head, channel, positions_mm)


def flaw_echo_pct(
    flaw: FlawGeometry, joint: Joint, head: Head, channel: Channel, positions_mm: Floats
) -> Complex:
    """Echo of one flaw alone in % of the free-edge echo, centre frequency, shape (n,)."""
    echo = _flaw_echo(flaw, joint, head, channel, np.asarray(positions_mm, dtype=np.float64))
    return echo * (100 / abs(free_edge_echo(head)))
