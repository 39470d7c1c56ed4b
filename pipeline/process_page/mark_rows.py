"""Places at which indications come back on successive seams, for the process page.

The ends of the stretch are left out: run-in, run-out and the echo of the sheet's edge give every seam
more indications there. That is told by the density along the seam, and is no mark of a fixture or a roll.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from seamtell.pipeline.counted_decisions import Decided
from seamtell.pipeline.process_page.place_rows import BIN_WIDTHS, Along
from seamtell.pipeline.process_page.view import MarkRow
from seamtell.pipeline.production.decided import ANSWERS
from seamtell.pipeline.production.places import Measured
from seamtell.pipeline.production.repeats import MOST_BLOCKS, Mark, repeated_marks

__all__ = ["EDGE_MM", "mark_rows"]

EDGE_MM = 20.0
"""Taken off both ends of the stretch where the limits let something be told: about two beams."""

_LEVEL = 0.05
"""Chance that any line shows a mark where there is none."""


def mark_rows(decided: Decided, rng: np.random.Generator) -> list[MarkRow]:
    """Marks of each line, measured from the start and from the end; the surest first.

    Every look gets its part of the level. Where the seams of a line are of one length, what is a mark from
    the end is one from the start, and is looked for once.
    """
    lines = decided.seams.group_by("line")
    length = decided.seams.end_mm - decided.seams.start_mm
    looks = []
    for measured in (Measured.START, Measured.END):
        along = Along(decided, measured, margin_mm=EDGE_MM)
        for code in range(len(lines.names)):
            one_length = np.ptp(length[lines.codes == code]) < BIN_WIDTHS[Measured.END]
            if measured is Measured.START or not one_length:
                looks.append((along, code))
    rows = []
    for along, code in looks:
        blocks = _blocks(lines.codes == code)
        hits, share = _hits(decided, along, blocks)
        level = _LEVEL / len(looks)
        marks = repeated_marks(hits, share, rng, level=level, worlds=max(199, round(4 / level)))
        rows += [_row(decided, lines.names[code], along, mark, blocks) for mark in marks]
    return sorted(rows, key=lambda row: (row.p, -row.seams))


def _blocks(own: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Block of each seam, shape (n,): equal numbers in order of welding; -1 for seams of other lines."""
    members = np.flatnonzero(own)
    block = np.full(len(own), -1)
    block[members] = np.arange(len(members)) * min(MOST_BLOCKS, len(members)) // len(members)
    return block


def _hits(
    decided: Decided, along: Along, block: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Seams with an indication by block and bin, and each bin's share of the block's inspected length."""
    bins = len(along.edges) - 1
    indications = decided.indications
    inside = along.inside & (block[indications.seam] >= 0)
    # A seam counts once in a bin, however many indications it has there.
    once = np.unique(indications.seam[inside].astype(np.int64) * bins + along.bins[inside])
    hits = np.zeros((int(block.max()) + 1, bins), np.int64)
    np.add.at(hits, (block[once // bins], once % bins), 1)
    metres = np.stack([along.metres(block == k) for k in range(len(hits))])
    total = metres.sum(axis=1, keepdims=True)
    share = np.divide(metres, total, out=np.zeros_like(metres), where=total > 0)
    hits[share <= 0] = 0
    return hits, share


def _row(decided: Decided, line: str, along: Along, mark: Mark, block: NDArray[np.int64]) -> MarkRow:
    indications, seams = decided.indications, decided.seams
    of_block = block[indications.seam]
    hit = along.inside & (of_block >= mark.first_block) & (of_block <= mark.last_block)
    hit &= (along.bins >= mark.first_bin) & (along.bins <= mark.last_bin)
    label = int(np.argmax(np.bincount(indications.answer[hit], minlength=len(ANSWERS))))
    example = indications.seam[hit & (indications.answer == label)].max()
    welded = seams.welded_at[indications.seam[hit]].astype("datetime64[D]")
    return MarkRow(
        line=line,
        label=ANSWERS[label],
        measured=along.measured.words,
        from_mm=float(along.edges[mark.first_bin]),
        to_mm=float(along.edges[mark.last_bin + 1]),
        first=str(welded.min()),
        last=str(welded.max()),
        seams=mark.seams,
        expected=mark.expected,
        p=mark.p,
        example=str(seams.metadata["seam_id"].iloc[int(example)]),
    )
