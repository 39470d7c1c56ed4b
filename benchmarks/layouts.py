"""Which layout of the store serves best: ``python benchmarks/layouts.py [--seams 50000] [--out layouts.md]``.

The same seams are written in each layout, read in the batches of the stages by one thread, and classified on
all cores with a model of 300 trees. Bytes are of the invented traces, whose amplitudes have few digits, as
those of a digitiser have; traces of full float32 noise pack worse.
"""

from __future__ import annotations

import argparse
import io
import shutil
import statistics
import tempfile
import time
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
from big_store import make_big_store
from speed.load import Load
from speed.machine import this_machine
from speed.model_rows import learnt
from speed.stage_rows import MODEL_ID, classify_runs
from speed.timing import RUNS

from seamtell.models.model_file import save_model
from seamtell.pipeline.store.manifest import read_manifest
from seamtell.pipeline.store.row_groups import Chunk, batched, read_chunk, row_groups_of
from seamtell.pipeline.store.rows import CHANNEL_PREFIX, ROW_GROUP_SEAMS
from seamtell.pipeline.store.writer import COMMIT_SEAMS


@dataclass(frozen=True)
class Layout:
    """How a part file is written.

    Parameters
    ----------
    part_seams : int
        Seams of one file: what partition keys and the time between commits come to.
    row_group_seams : int
    compression : str
        ``none``, ``lz4`` or ``zstd``.
    split_bytes : bool
        Whether amplitudes are stored byte plane by byte plane (BYTE_STREAM_SPLIT).
    note : str
    """

    part_seams: int
    row_group_seams: int
    compression: str
    split_bytes: bool
    note: str = ""

    def encoded(self, table: pa.Table) -> bytes:
        """Write `table` as one part file."""
        lists = [f"{name}.list.element" for name in table.column_names if name.startswith(CHANNEL_PREFIX)]
        buffer = io.BytesIO()
        pq.write_table(
            table,
            buffer,
            row_group_size=self.row_group_seams,
            compression=self.compression,
            use_dictionary=["line", "recipe", "coil", "shift"],
            use_byte_stream_split=lists if self.split_bytes else False,
        )
        return buffer.getvalue()


LAYOUTS = (
    Layout(COMMIT_SEAMS, ROW_GROUP_SEAMS, "zstd", True, "today's"),
    Layout(COMMIT_SEAMS, ROW_GROUP_SEAMS, "zstd", False),
    Layout(COMMIT_SEAMS, 64, "zstd", True),
    Layout(COMMIT_SEAMS, 1024, "zstd", True),
    Layout(8192, 8192, "zstd", True),
    Layout(8192, 1024, "zstd", True),
    Layout(8192, 1024, "zstd", False),
    Layout(8192, 1024, "lz4", True),
    Layout(8192, 1024, "lz4", False),
    Layout(8192, 1024, "none", False),
    Layout(128, 128, "zstd", True, "keys so fine that files stay small, as line and day of a slow line"),
)


@dataclass(frozen=True)
class Measured:
    """What one layout costs; rates in seams a second, each the best of several runs."""

    layout: Layout
    bytes_a_seam: float
    write: float
    read: float
    classify: float
    classify_median: float
    peak_mib: float


def measure(layout: Layout, seams: int, load: Load, model: object, folder: Path, runs: int) -> Measured:
    """Write, read and classify one store, and remove it."""
    writes = []
    for _ in range(max(1, runs - 2)):
        shutil.rmtree(folder / "store", ignore_errors=True)
        made = make_big_store(
            folder / "store", seams, load.traces, layout.part_seams, 1, partial(Layout.encoded, layout)
        )
        writes.append(made.seconds)
    made.workspace.models_dir.mkdir(exist_ok=True)
    save_model(model, made.workspace.models_dir / MODEL_ID)
    reads = [_read_all(made.workspace.traces_dir) for _ in range(runs)]
    done = classify_runs(made.workspace, folder / "out", runs=runs)
    shutil.rmtree(folder / "store")
    return Measured(
        layout,
        made.size_bytes / seams,
        seams / min(writes),
        seams / min(reads),
        seams / min(done.seconds),
        seams / statistics.median(done.seconds),
        statistics.median(done.peak_mib),
    )


def _read_all(folder: Path) -> float:
    """Seconds in which one thread reads the store in the batches of the stages."""
    start = time.perf_counter()
    for chunk in batched(row_groups_of(folder, read_manifest(folder).parts)):
        if not isinstance(chunk, Chunk):
            raise RuntimeError(f"a part cannot be read: {chunk.problem}")
        read_chunk(chunk)
    return time.perf_counter() - start


def table(found: list[Measured], seams: int, runs: int) -> str:
    """Write the results as Markdown."""
    lines = [
        f"Machine: {this_machine().in_words()}. {seams:,} seams, best of {runs} runs. "
        "Made by `python benchmarks/layouts.py`.",
        "",
        "| seams a file | a row group | compression | bytes split | bytes a seam | "
        "written, one core, seams/s | read, one core, seams/s | classified, all cores, seams/s | MiB | |",
        "| ---: | ---: | --- | --- | ---: | ---: | ---: | ---: | ---: | --- |",
    ]
    for one in found:
        layout = one.layout
        lines.append(
            f"| {layout.part_seams:,} | {layout.row_group_seams:,} | {layout.compression} | "
            f"{'yes' if layout.split_bytes else 'no'} | {one.bytes_a_seam:,.0f} | {one.write:,.0f} | "
            f"{one.read:,.0f} | {one.classify:,.0f} | {one.peak_mib:,.0f} | {layout.note} |"
        )
    return "\n".join(lines) + "\n"


def main() -> None:
    """Measure every layout and write the table."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    parser.add_argument("--seams", type=int, default=50_000)
    parser.add_argument("--runs", type=int, default=RUNS)
    parser.add_argument("--out", type=Path, default=Path(__file__).with_name("layouts.md"))
    parser.add_argument("--scratch", type=Path, help="folder for one store at a time")
    given = parser.parse_args()
    load = Load.invented(256)
    model = learnt(load, "lightgbm")
    found = []
    with tempfile.TemporaryDirectory(dir=given.scratch) as folder:
        for layout in LAYOUTS:
            found.append(measure(layout, given.seams, load, model, Path(folder), given.runs))
            print(table(found[-1:], given.seams, given.runs).splitlines()[-1], flush=True)
    text = table(found, given.seams, given.runs)
    given.out.write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()
