"""Sections joined with the indications they judge: what training and evaluation read."""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seamtell.features.descriptors import registry
from seamtell.models.labelled_table import LabelledTable
from seamtell.models.reasons import LimitReason, Reason
from seamtell.pipeline.describe import describe_seams
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.evaluation.matching import match_sections
from seamtell.pipeline.limits_file import read_limits
from seamtell.pipeline.settings import Settings
from seamtell.pipeline.store.seam_store import SeamStore
from seamtell.pipeline.store.sections import read_sections
from seamtell.pipeline.workspace import Workspace

__all__ = [
    "Labelled",
    "descriptor_values",
    "load_labelled",
    "section_table_bytes",
    "sections_digest",
    "traces_digest",
]


@dataclass(frozen=True, eq=False)
class Labelled:
    """Every section with its match, and the descriptors of the matched ones.

    Parameters
    ----------
    matched : DataFrame
        One row a section, matched or not, as `match_sections` returns it, then
        ``start_mm, end_mm, exceeds_limit`` of the matched indication, ``conflict``
        (the store holds several traces under the seam's name) and ``left_out``: why
        the section cannot be judged at all, empty for nearly all.
    indications : DataFrame
        Described indications of all sectioned seams.
    table : LabelledTable
        Sections that are matched and not left out; ``values`` has the descriptors
        that classifiers read, in the order of the registry.
    sections_digest, traces_digest : str
        SHA-256 over all sections, and over the traces of the sectioned seams.
    """

    matched: pd.DataFrame
    indications: pd.DataFrame
    table: LabelledTable
    sections_digest: str
    traces_digest: str


def sections_digest(sections: pd.DataFrame) -> str:
    """SHA-256 over the section table as `section_table_bytes` has it.

    Row and column order do not change it, a single changed cell does.
    """
    return hashlib.sha256(section_table_bytes(sections)).hexdigest()


def section_table_bytes(sections: pd.DataFrame) -> bytes:
    """The section table as CSV, rows by section id, columns by name."""
    columns = sorted(sections.columns)
    text = (
        sections[columns]
        .sort_values("section_id", kind="stable")
        .to_csv(index=False, lineterminator="\n", float_format="%.17g", date_format="%Y-%m-%dT%H:%M:%S%z")
    )
    return text.encode("utf-8", errors="surrogatepass")


def traces_digest(seams: pd.DataFrame) -> str:
    """SHA-256 over seam ids and content digests (columns ``seam_id, content_sha256``), any row order."""
    pairs = sorted(zip(seams["seam_id"].astype(str), seams["content_sha256"].astype(str), strict=True))
    lines = "".join(f"{digest} {seam!r}\n" for seam, digest in pairs)
    return hashlib.sha256(lines.encode("utf-8")).hexdigest()


def descriptor_values(
    rows: pd.DataFrame, indications: pd.DataFrame, names: Sequence[str]
) -> NDArray[np.float64]:
    """Descriptors of the indications that `rows` name, shape (n_rows, n_names), in the order of `names`.

    Parameters
    ----------
    rows : DataFrame
        With ``seam_id`` and ``indication``, none of them empty.
    indications : DataFrame
        Described indications.
    names : sequence of str
        Descriptors to take.
    """
    if rows.empty:
        return np.empty((0, len(names)))
    by_key = indications.set_index(["seam_id", "indication"])[list(names)]
    return by_key.reindex(_keys(rows)).to_numpy(dtype=np.float64)


def _keys(rows: pd.DataFrame) -> pd.MultiIndex:
    numbers = rows["indication"].fillna(-1).astype("int64")
    return pd.MultiIndex.from_arrays([rows["seam_id"].astype(str), numbers])


def _with_extents(matched: pd.DataFrame, indications: pd.DataFrame) -> pd.DataFrame:
    facts = indications.set_index(["seam_id", "indication"])[["start_mm", "end_mm", "exceeds_limit"]]
    found = facts.reindex(_keys(matched))
    return matched.assign(
        start_mm=found["start_mm"].to_numpy(float),
        end_mm=found["end_mm"].to_numpy(float),
        exceeds_limit=(found["exceeds_limit"] == True).to_numpy(bool),  # noqa: E712 (missing reads False)
    )


def _with_exclusions(
    matched: pd.DataFrame, conflicts: Collection[str], known_recipes: Collection[str]
) -> pd.DataFrame:
    conflict = matched["seam_id"].isin(list(conflicts)).to_numpy(bool)
    unknown = ~matched["recipe"].isin(list(known_recipes)).to_numpy(bool)
    why = np.where(unknown, LimitReason.NO_LIMITS_FOR_RECIPE.value, "")
    return matched.assign(
        conflict=conflict, left_out=np.where(conflict, Reason.CONFLICTING_TRACES.value, why)
    )


def _table(usable: pd.DataFrame, indications: pd.DataFrame, sections: pd.DataFrame) -> LabelledTable:
    names = registry.model_names()
    lengths = sections.set_index(sections["section_id"].astype(str))["length_mm"]
    return LabelledTable(
        section_ids=tuple(usable["section_id"]),
        values=descriptor_values(usable, indications, names),
        names=names,
        truths=usable["truth"].to_numpy(dtype=str),
        groups=usable["group"].to_numpy(dtype=str),
        times=usable["welded_at"].dt.tz_convert(None).to_numpy().astype("datetime64[us]"),
        recipes=usable["recipe"].to_numpy(dtype=str),
        schema_digest=registry.schema_digest(),
        sizes_mm=pd.to_numeric(lengths.reindex(usable["section_id"])).to_numpy(dtype=np.float64),
    )


def load_labelled(ws: Workspace, settings: Settings) -> Labelled:
    """Read the sections, describe their seams and match the two.

    Raises
    ------
    BadInput
        The workspace has no sections.
    """
    sections = read_sections(ws)
    if sections.empty:
        raise BadInput(
            "the workspace has no sections", where=str(ws.root), do="run 'seamtell sections add FILE' first"
        )
    store = SeamStore(ws.traces_dir)
    sectioned = frozenset(sections["seam_id"].astype(str))
    seams = store.metadata()
    seams = seams[seams["seam_id"].astype(str).isin(sectioned)]
    indications = describe_seams(ws, sectioned)
    matched = match_sections(sections, indications, settings.match.extra_tolerance_mm, seams=seams)
    matched = _with_extents(matched, indications)
    matched = _with_exclusions(matched, store.conflicts(), read_limits(ws.limits_path).recipes)
    usable = matched[matched["matched"] & (matched["left_out"] == "")]
    table = _table(usable, indications, sections)
    return Labelled(matched, indications, table, sections_digest(sections), traces_digest(seams))
