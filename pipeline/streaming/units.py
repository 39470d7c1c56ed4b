"""Cutting the work on a store into units, each of which ends as one part file a table."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from seamtell.pipeline.store.row_groups import Chunk, UnreadSeams

__all__ = ["UNIT_SEAMS", "WorkUnit", "units_of"]

UNIT_SEAMS = 32_768
"""Seams in one unit, about: what a killed run loses at most, and what one task of a cluster does."""


@dataclass(frozen=True)
class WorkUnit:
    """Consecutive row groups of a store.

    Parameters
    ----------
    number : int
        0, 1, … in the order of the store.
    chunks : tuple of Chunk or UnreadSeams
    """

    number: int
    chunks: tuple[Chunk | UnreadSeams, ...]

    @property
    def seams(self) -> int:
        """Seams in it, whether chosen or not."""
        return sum(_seams(chunk) for chunk in self.chunks)


def units_of(row_groups: Iterable[Chunk | UnreadSeams], unit_seams: int = UNIT_SEAMS) -> Iterator[WorkUnit]:
    """Put consecutive row groups together until the next would make more than `unit_seams` seams.

    Examples
    --------
    >>> from pathlib import Path
    >>> groups = [Chunk(Path("a"), (group,), (400,), 400 * group) for group in range(5)]
    >>> [unit.seams for unit in units_of(groups, unit_seams=1_000)]
    [800, 800, 400]
    """
    gathered: list[Chunk | UnreadSeams] = []
    number = seams = 0
    for chunk in row_groups:
        if gathered and seams + _seams(chunk) > unit_seams:
            yield WorkUnit(number, tuple(gathered))
            gathered, number, seams = [], number + 1, 0
        gathered.append(chunk)
        seams += _seams(chunk)
    if gathered:
        yield WorkUnit(number, tuple(gathered))


def _seams(chunk: Chunk | UnreadSeams) -> int:
    return chunk.seams if isinstance(chunk, UnreadSeams) else sum(chunk.sizes)
