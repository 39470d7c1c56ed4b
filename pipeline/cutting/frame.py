"""What could be cut: seams of the decisions that are whole yet, and the indications on them."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from seamtell.features.contracts import Flaw
from seamtell.features.descriptors import registry
from seamtell.pipeline.cutting.class_needs import class_needs
from seamtell.pipeline.cutting.near_copies import Looks, scaled
from seamtell.pipeline.cutting.worth import LENGTH_BANDS_MM, Ask, Known, length_band
from seamtell.pipeline.decisions.files import DecisionRecord, newest_decisions, read_decisions
from seamtell.pipeline.describe import describe_seams
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.labelled import descriptor_values
from seamtell.pipeline.limits_file import Limits, read_limits
from seamtell.pipeline.store.seam_store import SeamStore
from seamtell.pipeline.store.sections import read_sections
from seamtell.pipeline.workspace import Workspace

__all__ = ["Frame", "asks_of", "known_so_far", "looks_of", "read_frame", "stratum_names"]


@dataclass(frozen=True, eq=False)
class Frame:
    """What could be cut.

    Parameters
    ----------
    folder : Path
        Of the decisions.
    record : DecisionRecord
    seams : DataFrame
        Metadata with ``length_mm`` and ``stratum``, by line, recipe and time.
    indications : DataFrame
        Decided indications on `seams`, with ``line, recipe, coil, stratum``.
    sections : DataFrame
        All sections so far.
    limits : Limits
    store : SeamStore
    """

    folder: Path
    record: DecisionRecord
    seams: pd.DataFrame
    indications: pd.DataFrame
    sections: pd.DataFrame
    limits: Limits
    store: SeamStore


def read_frame(ws: Workspace, decisions: Path | None = None) -> Frame:
    """Read decisions, store and sections.

    Parameters
    ----------
    decisions : Path, optional
        Folder of decisions; default: the newest.

    Raises
    ------
    BadInput
        No decisions yet, or none of their seams can be cut any more.
    """
    folder = decisions if decisions is not None else newest_decisions(ws)
    indications, decided, record = read_decisions(folder)
    store, limits, sections = SeamStore(ws.traces_dir), read_limits(ws.limits_path), read_sections(ws)
    seams = store.metadata()
    seams = seams[
        seams["seam_id"].isin(decided["seam_id"])
        & seams["recipe"].isin(list(limits.recipes))
        & ~seams["seam_id"].isin(list(store.conflicts()))
    ]
    whole = seams[~seams["seam_id"].isin(sections["seam_id"])]
    if whole.empty:
        why = "every seam of the decisions is cut already" if len(seams) else "no seam of the decisions"
        raise BadInput(
            f"{why}: nothing is left to cut",
            where=str(folder),
            do="ingest newer seams, then run 'seamtell classify' and plan again",
        )
    whole = whole.assign(
        length_mm=(whole["n_samples"] - 1).clip(lower=1) * whole["pitch_mm"], stratum=stratum_names(whole)
    )
    whole = whole.sort_values(["line", "recipe", "welded_at", "seam_id"], kind="stable")
    facts = whole[["seam_id", "line", "recipe", "coil", "stratum"]]
    here = indications.merge(facts, on="seam_id", how="inner", validate="many_to_one")
    here = here.sort_values(["seam_id", "indication"], kind="stable").reset_index(drop=True)
    return Frame(folder, record, whole.reset_index(drop=True), here, sections, limits, store)


def stratum_names(seams: pd.DataFrame) -> pd.Series:
    """Line and recipe as one word."""
    return seams["line"].astype(str) + " / " + seams["recipe"].astype(str)


def asks_of(frame: Frame) -> Ask:
    """What `worth_of` reads of each indication of the frame."""
    rows = frame.indications
    extent = rows["end_mm"].to_numpy(float) - rows["start_mm"].to_numpy(float)
    beams = {name: frame.limits.for_recipe(name).beam_width_mm for name in frame.limits.recipes}
    beam = rows["recipe"].map(beams).to_numpy(float)
    return Ask(
        probabilities=rows[[f"p_{flaw.value}" for flaw in Flaw]].to_numpy(float),
        novelty_p=rows["novelty_p"].to_numpy(float),
        length_mm=np.maximum(extent - beam, 0.0),
        strata=rows["stratum"].to_numpy(str),
    )


def known_so_far(ws: Workspace, frame: Frame) -> Known:
    """What the sections so far cover."""
    sections = frame.sections
    seams = frame.store.metadata().set_index("seam_id")
    cut = seams.reindex(sections["seam_id"])
    lengths = sections["length_mm"].to_numpy(float)
    band = length_band(np.nan_to_num(lengths))
    by_band = np.zeros((len(Flaw), len(LENGTH_BANDS_MM) + 1), dtype=np.int64)
    for place, flaw in enumerate(Flaw):
        sized = (sections["flaw"] == flaw.value).to_numpy(bool) & np.isfinite(lengths)
        by_band[place] = np.bincount(band[sized], minlength=by_band.shape[1])
    return Known(
        need=class_needs(ws, frame.record.model_id, sections),
        by_stratum={str(name): int(n) for name, n in stratum_names(cut).value_counts().items()},
        by_band=by_band,
    )


def looks_of(ws: Workspace, rows: pd.DataFrame) -> Looks:
    """Describe the seams of `rows` and scale what the classifiers read of each indication."""
    described = describe_seams(ws, frozenset(rows["seam_id"]))
    values = descriptor_values(rows, described, registry.model_names())
    return Looks(
        points=scaled(values),
        seams=rows["seam_id"].to_numpy(str),
        coils=rows["coil"].fillna("").to_numpy(str),
        lines=rows["line"].to_numpy(str),
        position_mm=rows["peak_mm"].to_numpy(float),
    )
