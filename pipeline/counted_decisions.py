"""Decisions read once and counted: what the raw and the corrected mix are made from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from seamtell.pipeline.decisions.files import DecisionRecord, TrialRecord, newest_decisions, read_record
from seamtell.pipeline.limits_file import read_limits
from seamtell.pipeline.production.cells import Cells, count_cells
from seamtell.pipeline.production.chosen_periods import PERIOD_COLUMN, ChosenPeriod, period_names
from seamtell.pipeline.production.decided import (
    DecidedIndications,
    DecidedSeams,
    read_indications,
    read_seams,
)
from seamtell.pipeline.production.height_bins import EVERY_HEIGHT, HeightBins
from seamtell.pipeline.store.seam_store import SeamStore
from seamtell.pipeline.workspace import Workspace

__all__ = ["CountedDecisions", "Decided", "deviation_of", "read_decided"]


@dataclass(frozen=True, eq=False)
class Decided:
    """A folder of decisions with the seams they are about.

    Parameters
    ----------
    folder : Path
    record : DecisionRecord
    seams : DecidedSeams
    indications : DecidedIndications
    """

    folder: Path
    record: DecisionRecord
    seams: DecidedSeams
    indications: DecidedIndications

    @property
    def trial(self) -> bool:
        """An unapproved model labelled, in a trial run."""
        return isinstance(self.record, TrialRecord)

    @property
    def asked(self) -> NDArray[np.bool_]:
        """Seams on which the model was asked, shape (n,): labels in force, and a recipe that it knows.

        Without any model there is nothing to tell apart, and all count.
        """
        if not self.record.model_digest:
            return np.ones(len(self.seams), np.bool_)
        recipe = self.seams.group_by("recipe")
        unknown = np.unique(recipe.codes[self.indications.seam[self.indications.outside]])
        return self.seams.in_force & ~np.isin(recipe.codes, unknown)

    def of_asked(self) -> Decided:
        """Only the seams on which the model was asked."""
        asked = self.asked
        if asked.all():
            return self
        return Decided(self.folder, self.record, self.seams.chosen(asked), self.indications.on(asked))

    def in_periods(self, periods: Sequence[ChosenPeriod]) -> Decided:
        """Only the seams of these periods, which can then be counted by `PERIOD_COLUMN`.

        Raises
        ------
        BadInput
            A period in which no seam was welded.
        """
        names, inside = period_names(periods, self.seams.welded_at)
        seams = self.seams.chosen(inside)
        named = replace(seams, metadata=seams.metadata.assign(**{PERIOD_COLUMN: names[inside]}))
        return Decided(self.folder, self.record, named, self.indications.on(inside))

    @property
    def first_welded(self) -> np.datetime64:
        """Of the seams; NaT without any."""
        return self.seams.welded_at.min() if len(self.seams) else np.datetime64("NaT")

    def counted(self, by: str = "", bins: HeightBins = EVERY_HEIGHT) -> CountedDecisions:
        """Count by a metadata column, ``week`` or ``thickness_pair``; empty for one group.

        Raises
        ------
        BadInput
            An unknown column or one with too many values.
        """
        cells = count_cells(self.seams, self.indications, (by,) if by else (), bins)
        return CountedDecisions(self, by, cells)


@dataclass(frozen=True, eq=False)
class CountedDecisions:
    """Decisions counted by the groups of one column; `by` is empty when there is one group."""

    decided: Decided
    by: str
    cells: Cells

    @property
    def groups(self) -> tuple[str, ...]:
        """Names of the groups, in order."""
        return self.cells.groups[self.by].names if self.by else ()


def read_decided(ws: Workspace, decisions: Path | None = None) -> Decided:
    """Read a folder of decisions.

    Parameters
    ----------
    ws : Workspace
    decisions : Path, optional
        Default: the newest decisions. A trial run is only read when named.

    Raises
    ------
    BadInput
        No decisions, damaged ones, or a seam that the store lost.
    """
    folder = decisions or newest_decisions(ws)
    record = read_record(folder, trial=decisions is not None)
    seams = read_seams(SeamStore(ws.traces_dir), read_limits(ws.limits_path), folder)
    return Decided(folder, record, seams, read_indications(seams, folder, record))


def deviation_of(record: DecisionRecord) -> str:
    """That the model was approved against failed criteria: which, why and until when; else empty."""
    return f"{record.model_id} was {record.deviation.sentence}" if record.deviation else ""
