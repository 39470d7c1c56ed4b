"""Where along the seam indications lie, for the process page."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from seamtell.pipeline.counted_decisions import Decided
from seamtell.pipeline.process_page.view import CoverRow, EvenRow, PlaceRow
from seamtell.pipeline.production.decided import ANSWERS, Coded
from seamtell.pipeline.production.places import Measured, covered_metres, uniform_p

__all__ = ["BIN_WIDTHS", "Along", "along_seams", "cover_rows", "even_rows", "filters_of", "place_rows"]

BIN_WIDTHS: dict[Measured, float] = {Measured.START: 10.0, Measured.END: 10.0, Measured.RELATIVE: 2.0}
"""Widths of a bin: about one beam in mm, or % of the length."""

Mask = NDArray[np.bool_]
Filters = tuple[Coded, Coded, Coded]


class Along:
    """Positions of decided seams and their indications in one measure.

    Attributes
    ----------
    measured : Measured
    first, last : float array of shape (n,)
        Stretch of each seam where the limits let something be told.
    metres_per_unit : float array of shape (n,)
        Length of one unit of position.
    inside : bool array of shape (k,)
        Indications within that stretch: the others have no inspected length to be compared with.
    bins : int array of shape (k,)
    edges : float array of shape (b+1,)
    """

    def __init__(self, decided: Decided, measured: Measured, *, margin_mm: float = 0.0) -> None:
        """Lay out; `margin_mm` is taken off both ends of the stretch."""
        seams, indications = decided.seams, decided.indications
        first_mm, last_mm = seams.first_mm + margin_mm, seams.last_mm - margin_mm
        own, peak = indications.seam, indications.peak_mm.astype(np.float64)
        length = np.maximum(seams.end_mm - seams.start_mm, 1e-9)
        from_start = (first_mm - seams.start_mm, last_mm - seams.start_mm)
        position = peak - seams.start_mm[own]
        if measured is Measured.END:
            self.first, self.last = seams.end_mm - last_mm, seams.end_mm - first_mm
            position = seams.end_mm[own] - peak
        elif measured is Measured.RELATIVE:
            self.first, self.last = (100.0 * end / length for end in from_start)
            position = 100.0 * position / length[own]
        else:
            self.first, self.last = from_start
        relative = measured is Measured.RELATIVE
        self.measured = measured
        self.metres_per_unit = length / 1e5 if relative else np.full(len(seams), 1e-3)
        self.inside: Mask = (peak >= first_mm[own]) & (peak <= last_mm[own])
        width = BIN_WIDTHS[measured]
        longest = 100.0 if relative else float(length.max(initial=width))
        self.edges = np.arange(0.0, longest + width * (not relative) + 1e-9, width)
        self.bins = np.clip((position / width).astype(np.int64), 0, len(self.edges) - 2)

    def metres(self, own: Mask) -> NDArray[np.float64]:
        """Metres that the seams `own` lay into each bin, shape (b,)."""
        unit = self.metres_per_unit[own]
        # `covered_metres` takes millimetres; of relative positions each seam has its own length of a unit.
        if self.measured is not Measured.RELATIVE:
            return covered_metres(self.first[own], self.last[own], self.edges)
        first, last = self.first[own], self.last[own]
        below = [
            (np.clip(edge - first, 0.0, np.maximum(last - first, 0.0)) * unit).sum() for edge in self.edges
        ]
        return np.diff(np.array(below))


def along_seams(decided: Decided) -> tuple[Along, ...]:
    """From the start, from the end, and relative to the length."""
    return tuple(Along(decided, measured) for measured in Measured)


def filters_of(decided: Decided) -> Filters:
    """Line, recipe and month of each seam: what the page chooses by."""
    seams = decided.seams
    return seams.group_by("line"), seams.group_by("recipe"), seams.group_by("month")


def place_rows(decided: Decided, along: Along, filters: Filters) -> list[PlaceRow]:
    """Indications by line, recipe, month, flaw and bin; bins without any are left out."""
    indications, (line, recipe, month) = decided.indications, filters
    own = indications.seam[along.inside]
    answers = indications.answer[along.inside].astype(np.int64)
    keys = [line.codes[own], recipe.codes[own], month.codes[own], answers, along.bins[along.inside]]
    kinds, counts = np.unique(np.stack(keys, axis=1), axis=0, return_counts=True)
    words = along.measured.words
    return [
        PlaceRow(
            words,
            line.names[a],
            recipe.names[b],
            month.names[c],
            ANSWERS[d],
            float(along.edges[e]),
            int(count),
        )
        for (a, b, c, d, e), count in zip(kinds.tolist(), counts.tolist(), strict=True)
    ]


def cover_rows(along: Along, filters: Filters) -> list[CoverRow]:
    """Metres inspected by line, recipe, month and bin."""
    line, recipe, month = filters
    codes = np.stack([line.codes, recipe.codes, month.codes], axis=1)
    kinds, of_seam = np.unique(codes, axis=0, return_inverse=True)
    return [
        CoverRow(
            along.measured.words,
            line.names[a],
            recipe.names[b],
            month.names[c],
            float(along.edges[i]),
            metres,
        )
        for k, (a, b, c) in enumerate(kinds.tolist())
        for i, metres in enumerate(along.metres(of_seam.reshape(-1) == k).tolist())
        if metres > 0
    ]


def even_rows(decided: Decided, along: Along, rng: np.random.Generator) -> Iterator[EvenRow]:
    """P-value of each flaw lying evenly along all seams."""
    metres = along.metres(np.ones(len(decided.seams), np.bool_))
    for place, label in enumerate(ANSWERS):
        own = along.inside & (decided.indications.answer == place)
        counts = np.bincount(along.bins[own], minlength=len(metres))
        counts[metres <= 0] = 0
        yield EvenRow(along.measured.words, label, int(counts.sum()), uniform_p(counts, metres, rng))
