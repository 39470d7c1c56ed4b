"""Decided seams and their indications, as everything that counts them needs them.

Of every seam one row of metadata is held in memory, of every indication fifteen bytes: a plant's year of ten
million seams takes less than its metadata.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seamtell.features.contracts import UNCLASSIFIED, Flaw
from seamtell.models.reasons import Reason
from seamtell.pipeline.decisions.answer_table import LIST_MARK
from seamtell.pipeline.decisions.files import DecisionRecord
from seamtell.pipeline.decisions.seam_reasons import NOT_DESCRIBED
from seamtell.pipeline.decisions.streamed import decided_seams, indication_batches
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.limits_file import Limits
from seamtell.pipeline.store.seam_store import SeamStore

__all__ = [
    "ALL_SEAMS",
    "ANSWERS",
    "DERIVED_COLUMNS",
    "EMPTY",
    "MOST_GROUPS",
    "Coded",
    "DecidedIndications",
    "DecidedSeams",
    "read_indications",
    "read_seams",
    "reasons_in_force",
]

ANSWERS: tuple[str, ...] = (*(flaw.value for flaw in Flaw), UNCLASSIFIED)
"""Answers of a classifier to an indication: every flaw, ``sound``, ``unclassified``."""
ALL_SEAMS = "all"
"""Name of the group that holds every seam of the decisions."""
EMPTY = "(empty)"
MOST_GROUPS = 500
DERIVED_COLUMNS: tuple[str, ...] = ("week", "thickness_pair")
"""Columns to group by that are made from others."""
_PART = "part"
_INDICATION_COLUMNS = ("seam_id", "peak_mm", "label", "exceeds_limit", "height_share", "reason")
_WITHHELD = {
    Reason.REFERENCE_CHECK_FAILED.value,
    Reason.REFERENCE_CHECK_OVERDUE.value,
    Reason.DRIFT_ALARM.value,
    Reason.CONFLICTING_TRACES.value,
    NOT_DESCRIBED,
}
_NOT_TO_GROUP = ("seam_id", "welded_at", "content_sha256")


@dataclass(frozen=True, eq=False)
class Coded:
    """A text column: `names` and, of each seam, the place of its own, shape (n,)."""

    names: tuple[str, ...]
    codes: NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class DecidedSeams:
    """The decided seams; arrays have one entry a seam, shape (n,), in order of welding.

    Parameters
    ----------
    metadata : DataFrame
        Rows of the store, and `DERIVED_COLUMNS`.
    welded_at : datetime64 array
        UTC.
    start_mm, end_mm : float array
        Of the trace.
    first_mm, last_mm : float array
        Of the stretch where the limits let something be told.
    in_force : bool array
        Labels were in force: not suspended, and the trace was beyond doubt.
    """

    metadata: pd.DataFrame
    welded_at: NDArray[np.datetime64]
    start_mm: NDArray[np.float64]
    end_mm: NDArray[np.float64]
    first_mm: NDArray[np.float64]
    last_mm: NDArray[np.float64]
    in_force: NDArray[np.bool_]

    def __len__(self) -> int:
        return len(self.metadata)

    def chosen(self, only: NDArray[np.bool_]) -> DecidedSeams:
        """Only the seams of the mask, shape (n,)."""
        return DecidedSeams(
            metadata=self.metadata[only].reset_index(drop=True),
            welded_at=self.welded_at[only],
            start_mm=self.start_mm[only],
            end_mm=self.end_mm[only],
            first_mm=self.first_mm[only],
            last_mm=self.last_mm[only],
            in_force=self.in_force[only],
        )

    @property
    def metres(self) -> NDArray[np.float64]:
        """Inspected length, shape (n,)."""
        return np.maximum(self.last_mm - self.first_mm, 0.0) / 1000.0

    @property
    def parts(self) -> NDArray[np.float64]:
        """Share of a part that each seam is, shape (n,); one, unless a metadata column ``part`` names it."""
        if _PART not in self.metadata.columns:
            return np.ones(len(self))
        part = self.metadata[_PART].fillna("").astype(str)
        named = part.where(part != "", "seam " + self.metadata["seam_id"].astype(str))
        return np.asarray(1.0 / named.groupby(named).transform("size"))

    @property
    def weeks(self) -> NDArray[np.datetime64]:
        """Monday of the week of each seam, shape (n,)."""
        # numpy weeks begin on the weekday of 1970-01-01, a Thursday: shifted to Monday.
        days = self.welded_at.astype("datetime64[D]").astype(np.int64)
        return (days - (days + 3) % 7).astype("datetime64[D]")

    @property
    def columns(self) -> tuple[str, ...]:
        """Columns by which seams can be grouped."""
        return tuple(name for name in self.metadata.columns if name not in _NOT_TO_GROUP)

    def group_by(self, column: str) -> Coded:
        """Groups of seams with the same value of a column.

        Raises
        ------
        BadInput
            An unknown column, or one with too many values.
        """
        if column not in self.columns:
            raise BadInput(
                f"no metadata column '{column}'",
                where="--by",
                do=f"choose one of {', '.join(self.columns)}",
            )
        text = _as_text(self.metadata[column])
        if text.nunique() > MOST_GROUPS:
            raise BadInput(
                f"column '{column}' has {text.nunique()} values, at most {MOST_GROUPS} can be grouped",
                where="--by",
                do="choose a coarser column",
            )
        # A group must not be taken for the group of all seams.
        return _coded(text.where(text != ALL_SEAMS, f"{ALL_SEAMS} ({column})"))

    def coils(self) -> Coded:
        """Coil of each seam; without one, the seams of a line and week count as of one coil."""
        coil = self.metadata["coil"].fillna("").astype(str)
        line, week = _as_text(self.metadata["line"]), self.metadata["week"]
        return _coded(coil.where(coil != "", "without coil, " + line + ", " + week))


@dataclass(frozen=True, eq=False)
class DecidedIndications:
    """Every indication of decided seams; arrays of shape (k,).

    Parameters
    ----------
    seam : int array
        Place of its seam.
    answer : int array
        Place in `ANSWERS`.
    above : bool array
        Above the limit.
    height_share : float array
        Height over the baseline as a share of the limit.
    peak_mm : float array
    outside : bool array
        The model was not asked, because it does not know the recipe.
    """

    seam: NDArray[np.int32]
    answer: NDArray[np.int8]
    above: NDArray[np.bool_]
    height_share: NDArray[np.float32]
    peak_mm: NDArray[np.float32]
    outside: NDArray[np.bool_]

    def __len__(self) -> int:
        return len(self.seam)

    def on(self, only: NDArray[np.bool_]) -> DecidedIndications:
        """Those on the seams of the mask, shape (n,), as places among these seams."""
        place = (np.cumsum(only) - 1).astype(np.int32)
        inside = only[self.seam]
        return DecidedIndications(
            seam=place[self.seam[inside]],
            answer=self.answer[inside],
            above=self.above[inside],
            height_share=self.height_share[inside],
            peak_mm=self.peak_mm[inside],
            outside=self.outside[inside],
        )


def read_seams(store: SeamStore, limits: Limits, folder: Path) -> DecidedSeams:
    """Read the seams of a folder of decisions.

    Raises
    ------
    BadInput
        The decisions are damaged, or of a seam that the store lost.
    """
    parts = [(ids.to_pandas(), reasons.to_pandas()) for ids, reasons in decided_seams(folder)]
    ids = [part[0] for part in parts]
    decided = pd.Index(np.concatenate([[], *ids]).astype(str))
    metadata = store.metadata()
    lost = decided[~decided.isin(metadata["seam_id"])]
    if len(lost):
        raise BadInput(
            f"seam '{lost[0]}' of the decisions is not in the store", do="name decisions of this workspace"
        )
    metadata = metadata[metadata["seam_id"].isin(decided)].reset_index(drop=True)
    reasons = pd.Series(np.concatenate([[], *(part[1] for part in parts)]), index=decided, dtype=object)
    return _seams(metadata, limits, reasons_in_force(reasons.reindex(metadata["seam_id"].astype(str))))


def reasons_in_force(reasons: pd.Series) -> NDArray[np.bool_]:
    """Whether labels were in force on each seam, by its reasons as ``decisions`` joins them."""
    codes, names = pd.factorize(reasons.fillna("").astype(str))
    withheld = [bool(_WITHHELD & set(str(name).split(LIST_MARK))) for name in names]
    return ~np.array([*withheld, False])[codes]


def read_indications(seams: DecidedSeams, folder: Path, record: DecisionRecord) -> DecidedIndications:
    """Read the indications of the seams, batch by batch.

    Raises
    ------
    BadInput
        The decisions are damaged.
    """
    place = pd.Index(seams.metadata["seam_id"].astype(str))
    codes = {name: code for code, name in enumerate(ANSWERS)}
    outside = Reason.RECIPE_OUTSIDE_DOMAIN.value
    parts: list[tuple[NDArray[Any], ...]] = []
    for batch in indication_batches(folder, record, _INDICATION_COLUMNS):
        labels = batch["label"].dictionary_encode()
        coded = np.array([codes[name] for name in labels.dictionary.to_pylist()], dtype=np.int8)
        seam = place.get_indexer(batch["seam_id"].to_pandas())
        if (seam < 0).any():
            raise BadInput(
                "damaged decisions: an indication of a seam that was not decided on",
                where=str(folder),
                do="classify again",
            )
        parts.append(
            (
                seam.astype(np.int32),
                coded[labels.indices.to_numpy(False)] if len(coded) else np.zeros(0, np.int8),
                batch["exceeds_limit"].to_numpy(False).astype(bool),
                batch["height_share"].to_numpy(False).astype(np.float32),
                batch["peak_mm"].to_numpy(False).astype(np.float32),
                (batch["reason"].to_pandas() == outside).to_numpy(bool),
            )
        )
    kinds = (np.int32, np.int8, np.bool_, np.float32, np.float32, np.bool_)
    columns = (
        np.concatenate([np.zeros(0, kind), *(part[k] for part in parts)]) for k, kind in enumerate(kinds)
    )
    return DecidedIndications(*columns)


def _seams(metadata: pd.DataFrame, limits: Limits, in_force: NDArray[np.bool_]) -> DecidedSeams:
    welded = metadata["welded_at"].dt.tz_convert("UTC").dt.tz_localize(None).to_numpy("datetime64[s]")
    start = metadata["start_mm"].to_numpy(float)
    end = start + (metadata["n_samples"].to_numpy(float) - 1.0) * metadata["pitch_mm"].to_numpy(float)
    own = [limits.get(recipe) for recipe in metadata["recipe"].astype(str)]
    dead_start = np.array([0.0 if one is None else one.dead_zone_start_mm for one in own])
    dead_end = np.array([0.0 if one is None else one.dead_zone_end_mm for one in own])
    seams = DecidedSeams(metadata, welded, start, end, start + dead_start, end - dead_end, in_force)
    a, b = (metadata[f"thickness_{side}_mm"].astype(str) for side in "ab")
    metadata["week"] = seams.weeks.astype(str)
    metadata["thickness_pair"] = a + "/" + b
    return seams


def _as_text(values: pd.Series) -> pd.Series:
    text = values.astype(object).where(values.notna(), "").astype(str)
    return text.where(text != "", EMPTY)


def _coded(text: pd.Series) -> Coded:
    codes, names = pd.factorize(text, sort=True)
    return Coded(tuple(str(name) for name in names), np.asarray(codes, dtype=np.int64))
