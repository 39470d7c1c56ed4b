"""From the blocks of a line to the evidence of each stream, and the levels it reached."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seamtell.features.descriptors import registry
from seamtell.pipeline.health.drift_state import Alarm, Block, DriftLevel, Stream
from seamtell.pipeline.health.sequence import evidence

__all__ = ["MOST_LEVEL", "Budget", "StreamEvidence", "line_evidence", "new_alarms"]

_BY_MODEL = (Stream.NOVELTY_RATE, Stream.ABSTENTION_RATE)

MOST_LEVEL: dict[Stream, DriftLevel] = {
    **dict.fromkeys(Stream, DriftLevel.SUSPEND),
    # More flaws, or fewer, or others are news of the process. They are when labels are wanted most.
    Stream.INDICATION_RATE: DriftLevel.REVIEW,
    Stream.DESCRIPTORS: DriftLevel.REVIEW,
}
"""How far a stream may go."""


@dataclass(frozen=True)
class Budget:
    """How long it takes on average, at least, until a level is reached by chance, over all streams together.

    Parameters
    ----------
    reference_blocks : int
        Gathered before anything is judged.
    note, review, suspend : float
        Blocks.
    streams : int
        Streams of all lines, which share the budget.
    """

    reference_blocks: int
    note: float
    review: float
    suspend: float
    streams: int

    def threshold(self, level: DriftLevel) -> float:
        """Evidence that reaches a level."""
        blocks = {
            DriftLevel.NOTE: self.note,
            DriftLevel.REVIEW: self.review,
            DriftLevel.SUSPEND: self.suspend,
        }
        return self.streams * blocks[level]


@dataclass(frozen=True, eq=False)
class StreamEvidence:
    """Evidence of one stream after each of n blocks.

    Parameters
    ----------
    evidence : array of shape (n,)
    upward : bool array of shape (n,)
    descriptors : tuple of str, length n
        The one that shows it most; empty for other streams.
    """

    stream: Stream
    evidence: NDArray[np.float64]
    upward: NDArray[np.bool_]
    descriptors: tuple[str, ...]


def line_evidence(blocks: Sequence[Block], n_reference: int) -> tuple[StreamEvidence, ...]:
    """Evidence of every stream of a line."""
    found = [_of_values(stream, blocks, n_reference) for stream in Stream if stream is not Stream.DESCRIPTORS]
    return (*found, _of_descriptors(blocks, n_reference))


def new_alarms(
    found: Sequence[StreamEvidence], blocks: Sequence[Block], known: Sequence[Alarm], budget: Budget
) -> tuple[Alarm, ...]:
    """The first block in which a stream reached each level that it had not reached before."""
    reached = {(alarm.stream, alarm.level) for alarm in known}
    alarms = []
    for one in found:
        for level in (DriftLevel.NOTE, DriftLevel.REVIEW, DriftLevel.SUSPEND):
            beyond = np.flatnonzero(one.evidence >= budget.threshold(level))
            if level > MOST_LEVEL[one.stream] or (one.stream, level) in reached or not len(beyond):
                continue
            at = int(beyond[0])
            alarms.append(
                Alarm(
                    stream=one.stream,
                    level=level,
                    since=blocks[at].since,
                    until=blocks[at].until,
                    evidence=float(one.evidence[at]),
                    upward=bool(one.upward[at]),
                    descriptor=one.descriptors[at],
                )
            )
    return tuple(alarms)


def _of_values(stream: Stream, blocks: Sequence[Block], n_reference: int) -> StreamEvidence:
    values = _column([block.values.get(stream.value) for block in blocks])
    shift = evidence(values, n_reference, _floor(stream, blocks))
    return StreamEvidence(stream, shift.evidence, shift.upward, ("",) * len(blocks))


def _floor(stream: Stream, blocks: Sequence[Block]) -> NDArray[np.float64]:
    """Spread by counting alone: half over the root of n, for roots of rates and their arc sines alike."""
    n = np.array([block.judged if stream in _BY_MODEL else block.seams for block in blocks], dtype=np.float64)
    counted = stream in (*_BY_MODEL, Stream.INDICATION_RATE)
    return 0.5 / np.sqrt(np.maximum(n, 1.0)) if counted else np.zeros(len(blocks))


def _of_descriptors(blocks: Sequence[Block], n_reference: int) -> StreamEvidence:
    """Mean of the evidence of all descriptors: as good as a budget that they share, whatever ties them."""
    names = registry.names()
    shifts = [
        evidence(_column([block.descriptors.get(name) for block in blocks]), n_reference) for name in names
    ]
    total = np.array([shift.evidence for shift in shifts]).reshape(len(names), len(blocks))
    most = total.argmax(axis=0)
    upward = np.array([bool(shifts[d].upward[i]) for i, d in enumerate(most)], dtype=np.bool_)
    return StreamEvidence(Stream.DESCRIPTORS, total.mean(axis=0), upward, tuple(names[d] for d in most))


def _column(values: Sequence[float | None]) -> NDArray[np.float64]:
    return np.array([np.nan if value is None else value for value in values], dtype=np.float64)
