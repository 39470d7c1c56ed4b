"""What is needed of every decided seam to count by group, period and place.

One small row a seam is held in memory; the indications, of which there are many more,
are streamed past it.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seamtell.pipeline.decisions.streamed import decided_seams
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.limits_file import Limits
from seamtell.pipeline.store.seam_store import SeamStore

__all__ = ["ALL_SEAMS", "DERIVED_COLUMNS", "EMPTY", "MOST_GROUPS", "Coded", "SeamFacts", "seam_facts"]

ALL_SEAMS = "all"
"""Name of the group that holds every seam of the decisions."""
EMPTY = "(empty)"
MOST_GROUPS = 500
DERIVED_COLUMNS: tuple[str, ...] = ("week", "thickness_pair")
"""Columns to group by that are made from others."""
_NOT_TO_GROUP = ("seam_id", "welded_at", "content_sha256")


@dataclass(frozen=True, eq=False)
class Coded:
    """A text column: `names` and, of each seam, the place of its own, shape (n,)."""

    names: tuple[str, ...]
    codes: NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class SeamFacts:
    """The decided seams; arrays have one entry a seam, shape (n,), in order of welding.

    Parameters
    ----------
    ids : pandas.Index
    group, line, coil : Coded
        A seam without a coil counts as of a coil of its line and week.
    welded_at : datetime64 array
        UTC.
    start_mm, end_mm : float array
        Of the trace.
    first_mm, last_mm : float array
        Of the stretch where the limits let something be told.
    """

    ids: pd.Index
    group: Coded
    line: Coded
    coil: Coded
    welded_at: NDArray[np.datetime64]
    start_mm: NDArray[np.float64]
    end_mm: NDArray[np.float64]
    first_mm: NDArray[np.float64]
    last_mm: NDArray[np.float64]

    def __len__(self) -> int:
        return len(self.ids)

    @property
    def metres(self) -> NDArray[np.float64]:
        """Inspected length, shape (n,)."""
        return np.maximum(self.last_mm - self.first_mm, 0.0) / 1000.0

    @property
    def weeks(self) -> NDArray[np.datetime64]:
        """Monday of the week of each seam, shape (n,)."""
        # numpy weeks begin on the weekday of 1970-01-01, a Thursday: shifted to Monday.
        days = self.welded_at.astype("datetime64[D]").astype(np.int64)
        return (days - (days + 3) % 7).astype("datetime64[D]")


def seam_facts(store: SeamStore, limits: Limits, folder: Path, by: str) -> SeamFacts:
    """Read the facts of the seams of a folder of decisions.

    Parameters
    ----------
    by : str
        Metadata column or one of `DERIVED_COLUMNS`; empty for one group.

    Raises
    ------
    BadInput
        An unknown column, one with too many values, or a seam that the store lost.
    """
    decided = pd.Index(
        np.concatenate([[], *(ids.to_numpy(False) for ids in decided_seams(folder))]).astype(str)
    )
    metadata = store.metadata()
    columns = [name for name in metadata.columns if name not in _NOT_TO_GROUP]
    if by and by not in (*columns, *DERIVED_COLUMNS):
        raise BadInput(
            f"no metadata column '{by}'",
            where="--by",
            do=f"choose one of {', '.join((*columns, *DERIVED_COLUMNS))}",
        )
    lost = decided[~decided.isin(metadata["seam_id"])]
    if len(lost):
        raise BadInput(
            f"seam '{lost[0]}' of the decisions is not in the store", do="name decisions of this workspace"
        )
    return _facts(metadata[metadata["seam_id"].isin(decided)].reset_index(drop=True), limits, by)


def _facts(seams: pd.DataFrame, limits: Limits, by: str) -> SeamFacts:
    welded = seams["welded_at"].dt.tz_convert("UTC").dt.tz_localize(None).to_numpy("datetime64[s]")
    start = seams["start_mm"].to_numpy(float)
    end = start + (seams["n_samples"].to_numpy(float) - 1.0) * seams["pitch_mm"].to_numpy(float)
    own = [limits.get(recipe) for recipe in seams["recipe"].astype(str)]
    dead_start = np.array([0.0 if one is None else one.dead_zone_start_mm for one in own])
    dead_end = np.array([0.0 if one is None else one.dead_zone_end_mm for one in own])
    week = (
        welded.astype("datetime64[D]") - (welded.astype("datetime64[D]").astype(np.int64) + 3) % 7
    ).astype(str)
    line = seams["line"].fillna("").astype(str)
    coil = seams["coil"].fillna("").astype(str)
    coil = coil.where(coil != "", "without coil, " + line + ", " + pd.Series(week, index=seams.index))
    return SeamFacts(
        ids=pd.Index(seams["seam_id"].astype(str)),
        group=_coded(_group_text(seams, by, week)),
        line=_coded(line.where(line != "", EMPTY)),
        coil=_coded(coil),
        welded_at=welded,
        start_mm=start,
        end_mm=end,
        first_mm=start + dead_start,
        last_mm=end - dead_end,
    )


def _group_text(seams: pd.DataFrame, by: str, week: NDArray[np.str_]) -> pd.Series:
    if not by:
        return pd.Series(ALL_SEAMS, index=seams.index)
    if by == "week":
        values = pd.Series(week, index=seams.index)
    elif by == "thickness_pair":
        values = seams["thickness_a_mm"].astype(str) + "/" + seams["thickness_b_mm"].astype(str)
    else:
        values = seams[by]
    text = values.astype(object).where(values.notna(), "").astype(str)
    text = text.where(text != "", EMPTY)
    if text.nunique() > MOST_GROUPS:
        raise BadInput(
            f"column '{by}' has {text.nunique()} values, at most {MOST_GROUPS} can be grouped",
            where="--by",
            do="choose a coarser column",
        )
    # A group must not be taken for the group of all seams.
    return text.where(text != ALL_SEAMS, f"{ALL_SEAMS} ({by})")


def _coded(text: pd.Series) -> Coded:
    codes, names = pd.factorize(text, sort=True)
    return Coded(tuple(str(name) for name in names), np.asarray(codes, dtype=np.int64))
