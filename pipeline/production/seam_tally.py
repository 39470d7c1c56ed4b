"""Counting the indications of decisions by group and coil, by line and period, and by place."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from seamtell.features.contracts import UNCLASSIFIED, Flaw
from seamtell.pipeline.decisions.files import DecisionRecord
from seamtell.pipeline.decisions.streamed import indication_batches
from seamtell.pipeline.production.places import Measured, covered_metres
from seamtell.pipeline.production.repeats import MOST_BLOCKS
from seamtell.pipeline.production.seam_facts import SeamFacts

__all__ = ["ANSWERS", "BIN_MM", "SeamTally", "tally_seams"]

ANSWERS: tuple[str, ...] = (*(flaw.value for flaw in Flaw), UNCLASSIFIED)
"""Answers of a classifier to an indication: every flaw, ``sound``, ``unclassified``."""
BIN_MM = 10.0
"""Width of a bin of position: about one beam."""
_RELATIVE_BINS = 50
_WEEKS_FROM_DAYS = 112


@dataclass(frozen=True, eq=False)
class SeamTally:
    """Counts; ``s`` strata are answers not above the limit, then the same answers above it.

    Parameters
    ----------
    by_coil : int array of shape (c, s)
        Of each pair of group and coil.
    coil_group : int array of shape (c,)
        Group of the pair.
    by_period : int array of shape (lines, periods, a)
    metres_by_period : float array of shape (lines, periods)
    periods : datetime64 array of shape (periods,)
        First day of each.
    period_days : int
        1 or 7.
    places, metres : mapping of Measured to array of shape (b,)
        Indications, and metres inspected.
    edges : mapping of Measured to array of shape (b+1,)
    hits : mapping of Measured to int array of shape (lines, blocks, b)
        Seams with an indication; from start and from end only.
    hit_metres : mapping of Measured to float array of shape (lines, blocks, b)
    block_times : datetime64 array of shape (lines, blocks, 2)
        When the first and the last seam of each block were welded.
    """

    by_coil: NDArray[np.int64]
    coil_group: NDArray[np.int64]
    by_period: NDArray[np.int64]
    metres_by_period: NDArray[np.float64]
    periods: NDArray[np.datetime64]
    period_days: int
    places: dict[Measured, NDArray[np.int64]]
    metres: dict[Measured, NDArray[np.float64]]
    edges: dict[Measured, NDArray[np.float64]]
    hits: dict[Measured, NDArray[np.int64]]
    hit_metres: dict[Measured, NDArray[np.float64]]
    block_times: NDArray[np.datetime64]


@dataclass(frozen=True, eq=False)
class _Keys:
    """Where each seam counts, shape (n,) each."""

    coil: NDArray[np.int64]
    period: NDArray[np.int64]
    block: NDArray[np.int64]


def tally_seams(facts: SeamFacts, folder: Path, record: DecisionRecord) -> SeamTally:
    """Stream the indications past the seams and count.

    Raises
    ------
    BadInput
        The decisions are damaged.
    """
    pairs, coil = np.unique(
        facts.group.codes * max(1, len(facts.coil.names)) + facts.coil.codes, return_inverse=True
    )
    periods, days, period = _periods(facts)
    keys = _Keys(coil, period, _blocks(facts))
    tally = _empty(facts, pairs // max(1, len(facts.coil.names)), periods, days, keys)
    places = {name: place for place, name in enumerate(ANSWERS)}
    for batch in indication_batches(folder, record, ("seam_id", "peak_mm", "label", "exceeds_limit")):
        rows = facts.ids.get_indexer(batch["seam_id"].to_pandas())
        labels = batch["label"].dictionary_encode()
        coded = np.array([places[name] for name in labels.dictionary.to_pylist()], dtype=np.int64)
        answers = coded[labels.indices.to_numpy(False)] if len(coded) else np.zeros(0, np.int64)
        known = rows >= 0
        above = batch["exceeds_limit"].to_numpy(False).astype(bool)
        peaks = batch["peak_mm"].to_numpy(False)
        _add(tally, facts, keys, rows[known], answers[known], above[known], peaks[known])
    return tally


def _periods(facts: SeamFacts) -> tuple[NDArray[np.datetime64], int, NDArray[np.int64]]:
    """Days, or weeks for a long span, without gaps; and the place of each seam."""
    if not len(facts):
        return np.zeros(0, "datetime64[D]"), 1, np.zeros(0, np.int64)
    day = facts.welded_at.astype("datetime64[D]")
    span = int((day.max() - day.min()).astype(np.int64)) + 1
    days = 7 if span >= _WEEKS_FROM_DAYS else 1
    of_seam = facts.weeks if days == 7 else day
    first = of_seam.min()
    place = (of_seam - first).astype(np.int64) // days
    return first + np.arange(int(place.max()) + 1) * np.timedelta64(days, "D"), days, place


def _blocks(facts: SeamFacts) -> NDArray[np.int64]:
    """Of each line's seams in order of welding, blocks of equal number, shape (n,)."""
    block = np.zeros(len(facts), dtype=np.int64)
    for line in range(len(facts.line.names)):
        own = np.flatnonzero(facts.line.codes == line)
        block[own] = np.arange(len(own)) * min(MOST_BLOCKS, max(1, len(own))) // max(1, len(own))
    return block


def _empty(
    facts: SeamFacts,
    coil_group: NDArray[np.int64],
    periods: NDArray[np.datetime64],
    days: int,
    keys: _Keys,
) -> SeamTally:
    lines = len(facts.line.names)
    longest = float((facts.end_mm - facts.start_mm).max(initial=BIN_MM))
    edges_mm = np.arange(0.0, longest + BIN_MM, BIN_MM)
    metres_by_period = np.zeros((lines, len(periods)))
    np.add.at(metres_by_period, (facts.line.codes, keys.period), facts.metres)
    hit_metres = {
        m: np.zeros((lines, MOST_BLOCKS, len(edges_mm) - 1)) for m in (Measured.START, Measured.END)
    }
    times = np.full((lines, MOST_BLOCKS, 2), np.datetime64("NaT"), dtype="datetime64[s]")
    for line in range(lines):
        for block in range(MOST_BLOCKS):
            own = (facts.line.codes == line) & (keys.block == block)
            if own.any():
                times[line, block] = facts.welded_at[own].min(), facts.welded_at[own].max()
                for measured, laid in hit_metres.items():
                    laid[line, block] = covered_metres(*_stretch(facts, measured, own), edges_mm)
    edges = {
        Measured.START: edges_mm,
        Measured.END: edges_mm,
        Measured.RELATIVE: np.linspace(0, 1, _RELATIVE_BINS + 1),
    }
    metres = {m: np.asarray(table.sum(axis=(0, 1))) for m, table in hit_metres.items()}
    metres[Measured.RELATIVE] = _relative_metres(facts, edges[Measured.RELATIVE])
    return SeamTally(
        by_coil=np.zeros((len(coil_group), 2 * len(ANSWERS)), dtype=np.int64),
        coil_group=coil_group,
        by_period=np.zeros((lines, len(periods), len(ANSWERS)), dtype=np.int64),
        metres_by_period=metres_by_period,
        periods=periods,
        period_days=days,
        places={m: np.zeros(len(e) - 1, dtype=np.int64) for m, e in edges.items()},
        metres=metres,
        edges=edges,
        hits={m: np.zeros(table.shape, dtype=np.int64) for m, table in hit_metres.items()},
        hit_metres=hit_metres,
        block_times=times,
    )


def _stretch(
    facts: SeamFacts, measured: Measured, own: NDArray[np.bool_]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """First and last told position of seams, as measured."""
    if measured is Measured.START:
        return facts.first_mm[own] - facts.start_mm[own], facts.last_mm[own] - facts.start_mm[own]
    return facts.end_mm[own] - facts.last_mm[own], facts.end_mm[own] - facts.first_mm[own]


def _relative_metres(facts: SeamFacts, edges: NDArray[np.float64]) -> NDArray[np.float64]:
    length = np.maximum(facts.end_mm - facts.start_mm, 1e-9)
    first, last = (facts.first_mm - facts.start_mm) / length, (facts.last_mm - facts.start_mm) / length
    below = [
        (np.clip(edge - first, 0.0, np.maximum(last - first, 0.0)) * length).sum() / 1000.0 for edge in edges
    ]
    return np.diff(np.array(below))


def _add(
    tally: SeamTally,
    facts: SeamFacts,
    keys: _Keys,
    rows: NDArray[np.int64],
    answers: NDArray[np.int64],
    above: NDArray[np.bool_],
    peaks_mm: NDArray[np.float64],
) -> None:
    np.add.at(tally.by_coil, (keys.coil[rows], answers + len(ANSWERS) * above), 1)
    np.add.at(tally.by_period, (facts.line.codes[rows], keys.period[rows], answers), 1)
    # What lies outside the told stretch has no inspected length to be compared with.
    inside = (peaks_mm >= facts.first_mm[rows]) & (peaks_mm <= facts.last_mm[rows])
    rows, peaks_mm = rows[inside], peaks_mm[inside]
    length = np.maximum(facts.end_mm[rows] - facts.start_mm[rows], 1e-9)
    positions = {
        Measured.START: peaks_mm - facts.start_mm[rows],
        Measured.END: facts.end_mm[rows] - peaks_mm,
        Measured.RELATIVE: (peaks_mm - facts.start_mm[rows]) / length,
    }
    for measured, position in positions.items():
        edges = tally.edges[measured]
        bins = np.clip(np.searchsorted(edges, position, side="right") - 1, 0, len(edges) - 2)
        np.add.at(tally.places[measured], bins, 1)
        if measured in tally.hits:
            seam_bins = np.unique(rows * len(edges) + bins)
            seam, bins = seam_bins // len(edges), seam_bins % len(edges)
            np.add.at(tally.hits[measured], (facts.line.codes[seam], keys.block[seam], bins), 1)
