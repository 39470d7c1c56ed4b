"""The stage *describe*: one row per indication, with the seam's metadata and every descriptor."""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from seamtell.features.contracts import SeamTrace
from seamtell.features.describer import INDICATION_COLUMNS, analyse_seam, describe_table
from seamtell.features.descriptors.registry import names
from seamtell.features.indications import IndicationSettings
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.files.table_stream import stream_table
from seamtell.pipeline.limits_file import Limits, read_limits
from seamtell.pipeline.settings import DescribeSettings, read_settings
from seamtell.pipeline.store.seam_store import SeamStore
from seamtell.pipeline.worker_processes import worker_pool
from seamtell.pipeline.workspace import Workspace

if TYPE_CHECKING:
    import pandas as pd
    import pyarrow as pa

__all__ = [
    "BATCH_SEAMS",
    "SEAM_COLUMNS",
    "DescribeResult",
    "batches",
    "describe",
    "describe_seams",
    "indication_settings",
]

T = TypeVar("T")

BATCH_SEAMS = 256
"""Seams in memory at once, per worker; also the row group of what is written."""

SEAM_COLUMNS: tuple[str, ...] = (
    "recipe",
    "line",
    "coil",
    "shift",
    "welded_at",
    "thickness_a_mm",
    "thickness_b_mm",
    "conflict",
)
"""Metadata of the seam beside each indication. ``conflict``: the seam has two differing traces."""


@dataclass(frozen=True)
class DescribeResult:
    """What was described.

    Parameters
    ----------
    path : Path
        The Parquet file.
    seams, indications : int
        Seams read and indications written.
    conflicts : int
        Seams with two differing traces; described by the one that came first, and flagged.
    without_limits : mapping of str to int
        Seams left out because the limit file does not name their recipe, by recipe.
    """

    path: Path
    seams: int
    indications: int
    conflicts: int
    without_limits: dict[str, int]


def describe_seams(ws: Workspace, seam_ids: Collection[str] | None = None) -> pd.DataFrame:
    """Describe seams in memory.

    Parameters
    ----------
    seam_ids : collection of str, optional
        Default: all.

    Returns
    -------
    pandas.DataFrame
        One row per indication, by (welded_at, seam_id, position): ``INDICATION_COLUMNS``,
        ``SEAM_COLUMNS``, every descriptor. Seams whose recipe has no limits have no rows.

    Raises
    ------
    BadInput
        A seam that the store does not hold, or a limit file that cannot be read.
    """
    import pandas as pd

    job = _Job.of(ws)
    traces = SeamStore(ws.traces_dir).iter_traces(seam_ids)
    tables = [job.describe(batch) for batch in batches(traces, BATCH_SEAMS)]
    filled = [table for table in tables if len(table)]
    return pd.concat(filled, ignore_index=True) if filled else job.describe([])


def describe(ws: Workspace, out: Path | None = None, *, workers: int = 1) -> DescribeResult:
    """Describe the whole store into one Parquet file, batch by batch.

    Parameters
    ----------
    out : Path, optional
        Default: ``described/indications.parquet`` in the workspace.
    workers : int
        Processes; the result does not depend on it.

    Raises
    ------
    BadInput
        The store is empty, the limit file cannot be read, or `out` is no name of a Parquet file.
    StorageProblem
        The file cannot be written; an older one is then untouched.
    """
    store = SeamStore(ws.traces_dir)
    metadata = store.metadata()
    if metadata.empty:
        raise BadInput("the store holds no seams", where=str(ws.root), do="run 'seamtell ingest PATH' first")
    path = out or ws.described_dir / "indications.parquet"
    if path.is_dir():
        raise BadInput(
            "is a folder, expected a file to write", where=str(path), do="say --out DIR/FILE.parquet"
        )
    if path.suffix.lower() != ".parquet":
        raise BadInput(
            f"got '{path.suffix}', expected .parquet", where=str(path), do="end the file name with .parquet"
        )
    job = _Job.of(ws)
    n_indications = 0
    with stream_table(path, indications_schema()) as stream:
        for table in _described(job, batches(store.iter_traces(), BATCH_SEAMS), workers):
            stream.write(table)
            n_indications += len(table)
    recipes = Counter(metadata["recipe"].astype(str))
    return DescribeResult(
        path=path,
        seams=len(metadata),
        indications=n_indications,
        conflicts=int(metadata["seam_id"].isin(job.conflicts).sum()),
        without_limits={name: n for name, n in sorted(recipes.items()) if job.limits.get(name) is None},
    )


def indications_schema() -> pa.Schema:
    """Columns and types of ``indications.parquet``."""
    import pyarrow as pa

    kinds = {
        "indication": pa.int64(),
        "exceeds_limit": pa.bool_(),
        "conflict": pa.bool_(),
        "welded_at": pa.timestamp("us", tz="UTC"),
    }
    text = {"seam_id", "channels", "exceeded_channels", "recipe", "line", "coil", "shift"}
    columns = (*INDICATION_COLUMNS, *SEAM_COLUMNS, *names())
    return pa.schema(
        [(name, pa.string() if name in text else kinds.get(name, pa.float64())) for name in columns]
    )


def indication_settings(settings: DescribeSettings) -> IndicationSettings:
    """The thresholds of the workspace in the words of the features."""
    return IndicationSettings(enter_sigma=settings.enter_sigma, leave_sigma=settings.leave_sigma)


def batches(items: Iterable[T], size: int) -> Iterator[list[T]]:
    """Cut a stream into lists of `size`; the last may be shorter."""
    batch: list[T] = []
    for item in items:
        batch.append(item)
        if len(batch) == size:
            yield batch
            batch = []
    if batch:
        yield batch


@dataclass(frozen=True)
class _Job:
    """All that a worker needs besides the traces; can be sent to another process."""

    limits: Limits
    settings: IndicationSettings
    conflicts: frozenset[str]

    @classmethod
    def of(cls, ws: Workspace) -> _Job:
        settings = read_settings(ws.settings_path)
        return cls(
            limits=read_limits(ws.limits_path),
            settings=indication_settings(settings.describe),
            conflicts=SeamStore(ws.traces_dir).conflicts(),
        )

    def describe(self, traces: list[SeamTrace]) -> pd.DataFrame:
        """Describe one batch."""
        import pandas as pd

        known = [(trace, self.limits.get(trace.recipe)) for trace in traces]
        analyses = [
            analyse_seam(trace, limits, self.settings) for trace, limits in known if limits is not None
        ]
        table = describe_table(analyses)
        owner = [analysis.trace for analysis in analyses for _ in analysis.indications]
        facts = pd.DataFrame(
            {
                "recipe": pd.Series([t.recipe for t in owner], dtype=object),
                "line": pd.Series([t.line for t in owner], dtype=object),
                "coil": pd.Series([t.coil for t in owner], dtype=object),
                "shift": pd.Series([t.shift for t in owner], dtype=object),
                "welded_at": pd.to_datetime(pd.Series([t.welded_at for t in owner], dtype=object), utc=True),
                "thickness_a_mm": pd.Series([t.thickness_a_mm for t in owner], dtype="float64"),
                "thickness_b_mm": pd.Series([t.thickness_b_mm for t in owner], dtype="float64"),
                "conflict": pd.Series([t.seam_id in self.conflicts for t in owner], dtype="bool"),
            }
        )
        columns = [*INDICATION_COLUMNS, *SEAM_COLUMNS, *names()]
        return pd.concat([table, facts], axis=1)[columns]


def _described(job: _Job, todo: Iterator[list[SeamTrace]], workers: int) -> Iterator[pd.DataFrame]:
    """Tables of the batches in their order; at most two batches a worker are under way."""
    if workers < 2:
        yield from map(job.describe, todo)
        return
    from concurrent.futures import Future

    with worker_pool(workers) as pool:
        under_way: deque[Future[pd.DataFrame]] = deque()
        for batch in todo:
            under_way.append(pool.submit(job.describe, batch))
            if len(under_way) >= 2 * workers:
                yield under_way.popleft().result()
        while under_way:
            yield under_way.popleft().result()
