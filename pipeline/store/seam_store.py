"""Reading the seam store: metadata as a table, traces as a stream in order of welding."""

from __future__ import annotations

import heapq
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import pyarrow as pa
import pyarrow.parquet as pq

from seamtell.features.contracts import SeamTrace
from seamtell.pipeline.errors import BadInput, StorageProblem
from seamtell.pipeline.store.manifest import Manifest, Part, read_manifest
from seamtell.pipeline.store.rejected import open_conflicts
from seamtell.pipeline.store.rows import SCALAR_COLUMNS, traces_of

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["METADATA_COLUMNS", "SeamStore"]

METADATA_COLUMNS: tuple[str, ...] = (
    "seam_id",
    "welded_at",
    "month",
    "line",
    "recipe",
    "coil",
    "shift",
    "thickness_a_mm",
    "thickness_b_mm",
    "speed_m_per_min",
    "start_mm",
    "pitch_mm",
    "n_samples",
    "saturated",
    "content_sha256",
)
"""Columns of `SeamStore.metadata` before the shop's own."""


@dataclass(frozen=True)
class _Index:
    """What one manifest says, read once: where each seam lies, and its metadata."""

    manifest: Manifest
    metadata: pd.DataFrame
    place: dict[str, tuple[int, int]]


class SeamStore:
    """The seam store in a folder, for reading; each call sees the last commit.

    Parameters
    ----------
    folder : Path
        ``Workspace.traces_dir``; may not exist yet, which is an empty store.
    rejected_dir : Path, optional
        Where open conflicts are listed; default: ``rejected`` beside `folder`.
    """

    def __init__(self, folder: Path, rejected_dir: Path | None = None) -> None:
        self.folder = folder
        self.rejected_dir = rejected_dir or folder.parent / "rejected"
        self._cached: _Index | None = None

    def __len__(self) -> int:
        return read_manifest(self.folder).n_seams

    def metadata(self) -> pd.DataFrame:
        """One row per seam without amplitudes, sorted by (welded_at, seam_id).

        Returns
        -------
        pandas.DataFrame
            `METADATA_COLUMNS` (``welded_at`` in UTC, ``month`` as ``YYYY-MM``), then each of the
            shop's own metadata as a text column, empty where a seam lacks it; a name that is
            already taken becomes ``extra_NAME``.
        """
        return self._index().metadata.copy()

    def iter_traces(self, seam_ids: Collection[str] | None = None) -> Iterator[SeamTrace]:
        """Traces sorted by (welded_at, seam_id); one row group of each open part file in memory.

        Parameters
        ----------
        seam_ids : collection of str, optional
            Only these; default: all.

        Raises
        ------
        BadInput
            A seam that the store does not hold.
        """
        if seam_ids is None:
            yield from _merge(self.folder, read_manifest(self.folder).parts, None)
            return
        index = self._index()
        wanted: dict[int, set[int]] = {}
        for seam_id in seam_ids:
            part, row = self._place(index, seam_id)
            wanted.setdefault(part, set()).add(row)
        parts = [index.manifest.parts[part] for part in sorted(wanted)]
        yield from _merge(self.folder, parts, [wanted[part] for part in sorted(wanted)])

    def get(self, seam_id: str) -> SeamTrace:
        """One trace.

        Raises
        ------
        BadInput
            The store does not hold the seam.
        """
        return next(self.iter_traces([seam_id]))

    def conflicts(self) -> frozenset[str]:
        """Seams of which two different contents were ingested and nobody has yet said which holds."""
        return open_conflicts(self.rejected_dir)

    def _place(self, index: _Index, seam_id: str) -> tuple[int, int]:
        place = index.place.get(seam_id)
        if place is None:
            raise BadInput(
                f"no seam '{seam_id}' in the store",
                where=str(self.folder),
                do="ingest it, or mend the seam id",
            )
        return place

    def _index(self) -> _Index:
        manifest = read_manifest(self.folder)
        if self._cached is None or self._cached.manifest != manifest:
            self._cached = _read_index(self.folder, manifest)
        return self._cached


def _read_index(folder: Path, manifest: Manifest) -> _Index:
    tables = [_read(folder, part, columns=list(SCALAR_COLUMNS)) for part in manifest.parts]
    place = {
        seam_id: (i, row)
        for i, table in enumerate(tables)
        for row, seam_id in enumerate(table.column("seam_id").to_pylist())
    }
    return _Index(manifest, _metadata_frame(tables), place)


def _metadata_frame(tables: list[pa.Table]) -> pd.DataFrame:
    import pandas as pd

    if not tables:
        empty = {name: pd.Series(dtype="str") for name in METADATA_COLUMNS}
        empty["welded_at"] = pd.Series(dtype="datetime64[us, UTC]")
        for name in METADATA_COLUMNS:
            if name.endswith(("_mm", "_per_min")):
                empty[name] = pd.Series(dtype="float64")
        empty["n_samples"] = pd.Series(dtype="int32")
        empty["saturated"] = pd.Series(dtype="bool")
        return pd.DataFrame(empty)
    joined = pa.concat_tables(tables)
    extra = [dict(pairs) for pairs in joined.column("extra").to_pylist()]
    frame: pd.DataFrame = joined.drop_columns(["extra", "source"]).to_pandas()
    frame.insert(2, "month", frame["welded_at"].dt.strftime("%Y-%m"))
    frame = frame[list(METADATA_COLUMNS)]
    for key in sorted({key for pairs in extra for key in pairs}):
        name = f"extra_{key}" if key in frame.columns else key
        frame[name] = pd.Series([pairs.get(key, "") for pairs in extra], dtype="str")
    return frame.sort_values(by=["welded_at", "seam_id"], ignore_index=True)


def _merge(folder: Path, parts: Collection[Part], rows: list[set[int]] | None) -> Iterator[SeamTrace]:
    """Merge sorted parts; a part is opened only when its first row is due."""
    # Entries are (key of the next trace, part number, the trace, the stream it came from).
    heap: list[tuple[tuple[datetime, str], int, SeamTrace | None, Iterator[SeamTrace]]] = [
        (part.first_key, i, None, _stream(folder, part, None if rows is None else rows[i]))
        for i, part in enumerate(parts)
    ]
    heapq.heapify(heap)
    while heap:
        _, i, trace, stream = heap[0]
        if trace is not None:
            yield trace
        following = next(stream, None)
        if following is None:
            heapq.heappop(heap)
        else:
            heapq.heapreplace(heap, ((following.welded_at, following.seam_id), i, following, stream))


def _stream(folder: Path, part: Part, rows: set[int] | None) -> Iterator[SeamTrace]:
    """Traces of one part in order, read row group by row group."""
    first = 0
    n_groups = None
    group = 0
    while n_groups is None or group < n_groups:
        with _opened(folder, part) as file:
            n_groups = file.num_row_groups
            size = file.metadata.row_group(group).num_rows if n_groups else 0
            chosen = range(size) if rows is None else [i for i in range(size) if first + i in rows]
            table = file.read_row_group(group) if len(chosen) else None
        if table is not None:
            yield from traces_of(table if rows is None else table.take(pa.array(chosen)))
        first += size
        group += 1


def _read(folder: Path, part: Part, columns: list[str]) -> pa.Table:
    with _opened(folder, part) as file:
        return file.read(columns=columns)


def _opened(folder: Path, part: Part) -> pq.ParquetFile:
    try:
        return pq.ParquetFile(folder / part.path)
    except (OSError, pa.ArrowInvalid) as problem:
        raise StorageProblem(
            f"a part of the seam store is missing or damaged: {problem}",
            where=str(folder / part.path),
            do="run again if another command was changing the store, else restore it from a backup",
        ) from None
