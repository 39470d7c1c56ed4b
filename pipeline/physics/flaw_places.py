"""Draws flaws and puts each into a seam that has room for it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from seamtell.data_synth.expected_flaws import ExpectedFlaw, FlawRanges, draw_expected_flaw
from seamtell.data_synth.head import Head, Joint
from seamtell.data_synth.validity import check_flaw
from seamtell.features.contracts import Channel, Flaw
from seamtell.features.errors import SeamtellError
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.physics.flawed_seams import FlawedSeam
from seamtell.pipeline.physics.hosts import Host
from seamtell.pipeline.physics.reference_fit import FittedHead
from seamtell.pipeline.physics.rooms import Room

__all__ = ["Drawing", "Placed", "draw_valid_flaw", "place_flaws"]

_MOST_DRAWS = 200
_MOST_SEAMS_TRIED = 300


@dataclass(frozen=True)
class Drawing:
    """How many flaws of which kinds, with which joints and heads."""

    ranges: FlawRanges
    per_class: int
    joints: Mapping[str, Joint]
    heads: Mapping[str, FittedHead]
    seed: int


@dataclass(frozen=True, eq=False)
class Placed:
    """Seams with flaws to simulate, and how many flaws found no stretch long enough."""

    seams: list[FlawedSeam]
    without_place: int


def place_flaws(hosts: Sequence[Host], n_rooms: int, drawing: Drawing, *, recorded: bool) -> Placed:
    """Draw `drawing.per_class` flaws of every class and spread them over `n_rooms` rooms.

    Parameters
    ----------
    hosts : sequence of Host
        Taken in turn, from the beginning again when there are fewer than `n_rooms`.
    """
    rng = np.random.default_rng(np.random.SeedSequence(drawing.seed, spawn_key=(1,)))
    owners = [hosts[i % len(hosts)] for i in range(n_rooms)]
    rooms = [owner.room() for owner in owners]
    labels = [label for label in drawing.ranges.labels for _ in range(drawing.per_class)]
    without_place = 0
    at = 0
    for i in rng.permutation(len(labels)):
        while rooms[at % n_rooms].is_full and not all(room.is_full for room in rooms):
            at += 1
        placed = _place(labels[i], at % n_rooms, owners, rooms, drawing, rng)
        without_place += not placed
        at += 1
    seams = [
        _seam(owner, room, number, drawing, recorded)
        for number, (owner, room) in enumerate(zip(owners, rooms, strict=True))
        if room.flaws
    ]
    return Placed(seams, without_place)


def draw_valid_flaw(
    label: Flaw, joint: Joint, head: Head, ranges: FlawRanges, rng: np.random.Generator
) -> ExpectedFlaw:
    """Draw until the theory can answer for the flaw.

    Raises
    ------
    BadInput
        It cannot for any of many draws; the message is that of the last.
    """
    problem: SeamtellError | None = None
    for _ in range(_MOST_DRAWS):
        flaw = draw_expected_flaw(label, joint, rng, ranges)
        try:
            for part in flaw.geometry:
                check_flaw(part, joint, head)
        except SeamtellError as found:
            problem = found
        else:
            return flaw
    raise BadInput(
        f"none of {_MOST_DRAWS} drawn flaws lies within the theory's range; the last: {problem}",
        where=f"expected ranges of '{label.value}'",
        do="narrow the range",
    )


def _place(
    label: Flaw,
    first: int,
    owners: Sequence[Host],
    rooms: Sequence[Room],
    drawing: Drawing,
    rng: np.random.Generator,
) -> bool:
    """Put one flaw into the room `first`, or into the next one of the same recipe that can take it."""
    trace = owners[first].trace
    joint, head = drawing.joints[trace.recipe], drawing.heads[trace.line].head
    flaw = draw_valid_flaw(label, joint, head, drawing.ranges, rng)
    for step in range(min(len(rooms), _MOST_SEAMS_TRIED)):
        number = (first + step) % len(rooms)
        if owners[number].trace.recipe == trace.recipe and rooms[number].place(flaw, rng):
            return True
    return False


def _seam(owner: Host, room: Room, number: int, drawing: Drawing, recorded: bool) -> FlawedSeam:
    fitted = drawing.heads[owner.trace.line]
    return FlawedSeam(
        trace=owner.trace,
        is_recorded=recorded,
        joint=drawing.joints[owner.trace.recipe],
        head=fitted.head,
        gain_db={channel: float(fitted.gain_db[channel]) for channel in Channel},
        limits=owner.limits,
        specular_level_pct=owner.specular_level_pct,
        known=owner.known,
        group=owner.group,
        flaws=tuple(room.flaws),
        seed=np.random.SeedSequence(drawing.seed, spawn_key=(2, number)),
    )
