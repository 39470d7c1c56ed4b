"""Holes and slots close together, which scatter into each other.

Each flaw answers what arrives at it (the beam and what the others send) with outgoing
waves or jumps. One linear system holds all flaws of a group:

    out = T (in + G out),

T what each flaw makes of what arrives, G what one sends to another. With G left out the
flaws' echoes simply add.

A slot's removed mass answers the beam alone: it is the small part of its echo, and a
scalar one that has no place in the plane-stress fields used here.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from scipy.linalg import block_diag

from seamtell.data_synth.arrays import Complex, Floats
from seamtell.data_synth.flaws import Hole, Slot
from seamtell.data_synth.head import Head, Joint
from seamtell.data_synth.scattering.beam import beam
from seamtell.data_synth.scattering.coupled_parts import HolePart, Part, SlotPart, sent
from seamtell.data_synth.scattering.slot import mass_echo
from seamtell.features.contracts import Channel

__all__ = ["COUPLING_REACH_MM", "coupled_echoes", "grouped"]

COUPLING_REACH_MM = 20.0
"""Flaws with a wider gap are taken to be alone: what they send each other changes an echo by 2 % at most."""

_LEAST_GAP_TO_SLOT_MM = 0.5
"""A slot acts a little beyond its ends; nearer to them nothing may stand."""


def grouped(flaws: Sequence[Hole | Slot]) -> list[tuple[Hole | Slot, ...]]:
    """Split into groups along the seam; flaws of different groups do not hear each other.

    Flaws that overlap along the seam stay apart too: the solutions hold for
    flaws beside each other, and overlapping ones add as if they were alone.

    Examples
    --------
    >>> [len(group) for group in grouped([Hole(0, 1), Hole(6, 1), Hole(60, 1)])]
    [2, 1]
    """
    groups: list[list[Hole | Slot]] = []
    for flaw in sorted(flaws, key=lambda f: f.extent_mm):
        for group in groups:
            if _least_gap_mm(flaw, group[-1]) < _gap_mm(flaw, group) <= COUPLING_REACH_MM:
                group.append(flaw)
                break
        else:
            groups.append([flaw])
    return [tuple(group) for group in groups]


def _gap_mm(flaw: Hole | Slot, group: Sequence[Hole | Slot]) -> float:
    return flaw.extent_mm[0] - max(other.extent_mm[1] for other in group)


def _least_gap_mm(one: Hole | Slot, other: Hole | Slot) -> float:
    return _LEAST_GAP_TO_SLOT_MM if isinstance(one, Slot) or isinstance(other, Slot) else 0.0


def coupled_echoes(
    flaws: Sequence[Hole | Slot], joint: Joint, head: Head, positions_mm: Floats
) -> Mapping[Channel, Complex]:
    """Echo of a group of flaws in both channels at every scan position, shape (n,) each, unscaled."""
    parts = [_part(flaw, joint, head) for flaw in flaws]
    answer = block_diag(*(part.answer for part in parts))
    system = np.eye(len(answer)) - answer @ _exchange(parts)
    echoes = {}
    for channel in Channel:
        lit = beam(head, channel)
        from_axis = positions_mm - head.axis_offset_mm(channel)
        arriving = np.concatenate([part.arriving(lit, from_axis) for part in parts])
        heard = np.concatenate([part.heard(lit, from_axis) for part in parts])
        out = np.linalg.solve(system, answer @ arriving)
        masses = [mass_echo(f, joint, head, channel, positions_mm) for f in flaws if isinstance(f, Slot)]
        echoes[channel] = np.sum(heard * out, axis=0) + sum(masses)
    return echoes


def _part(flaw: Hole | Slot, joint: Joint, head: Head) -> Part:
    return HolePart.of(flaw, joint, head) if isinstance(flaw, Hole) else SlotPart.of(flaw, joint, head)


def _exchange(parts: Sequence[Part]) -> Complex:
    """What the outgoing waves and jumps of each part add to what arrives at the others."""
    rows = []
    for to in parts:
        row = [sent(by, to) if by is not to else np.zeros((to.n_in, by.n_out)) for by in parts]
        rows.append(np.hstack(row))
    return np.vstack(rows).astype(complex)
