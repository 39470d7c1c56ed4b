"""Row groups as columns, against the reader that gives one seam after the other."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from seamtell.features.contracts import SeamTrace
from seamtell.pipeline.errors import StorageProblem
from seamtell.pipeline.store.manifest import Manifest, read_manifest
from seamtell.pipeline.store.row_groups import SeamRows, UnreadSeams, batched, read_chunk, row_groups_of
from seamtell.pipeline.store.seam_store import SeamStore
from seamtell.pipeline.store.writer import StoreWriter

SEAMS = 600


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    rng = np.random.default_rng(6)
    writer = StoreWriter(tmp_path / "traces")
    for i in range(SEAMS):
        names = ("specular", "scatter", "rear") if i % 7 == 0 else ("specular", "scatter")
        n = int(rng.integers(20, 60))
        trace = SeamTrace(
            seam_id=f"S{i:04}",
            welded_at=datetime(2026, 5, 1, tzinfo=UTC) + timedelta(minutes=i),
            line="L1",
            recipe=f"R{i % 3}",
            start_mm=float(i),
            pitch_mm=0.25 * (1 + i % 2),
            amplitudes_pct={name: rng.random(n, dtype=np.float32) for name in names},
            thickness_a_mm=1.5 if i % 2 else float("nan"),
        )
        writer.add(trace, "x.csv")
    writer.commit()
    return tmp_path / "traces"


def read(
    folder: Path, manifest: Manifest, batch_seams: int = 1024
) -> tuple[list[SeamRows], list[UnreadSeams]]:
    rows: list[SeamRows] = []
    unread: list[UnreadSeams] = []
    for chunk in batched(row_groups_of(folder, manifest.parts), batch_seams):
        if isinstance(chunk, UnreadSeams):
            unread.append(chunk)
            continue
        good, bad = read_chunk(chunk)
        rows += good
        unread += bad
    return rows, unread


def assert_same(rows: SeamRows, i: int, trace: SeamTrace) -> None:
    batch = rows.batch
    assert batch.recipes[batch.recipe[i]] == trace.recipe
    assert (batch.start_mm[i], batch.pitch_mm[i]) == (trace.start_mm, trace.pitch_mm)
    np.testing.assert_equal(batch.thickness_a_mm[i], trace.thickness_a_mm)
    for c, name in enumerate(batch.channels):
        first, n = batch.starts[i, c], batch.counts[i, c]
        if name in trace.amplitudes_pct:
            np.testing.assert_array_equal(batch.values[c][first : first + n], trace.amplitudes_pct[name])
        else:
            assert (first, n) == (-1, 0)


@pytest.mark.parametrize("batch_seams", [40, 300, 1024])
def test_the_chosen_rows_hold_what_the_reader_of_single_seams_gives(folder: Path, batch_seams: int) -> None:
    traces = {trace.seam_id: trace for trace in SeamStore(folder).iter_traces()}
    every, unread = read(folder, read_manifest(folder), batch_seams)
    assert not unread
    assert [one for rows in every for one in rows.facts["seam_id"].to_pylist()] == list(traces)
    for whole in every:
        rows = whole.chosen(np.arange(len(whole)) % 3 != 1)
        for i, seam_id in enumerate(rows.facts["seam_id"].to_pylist()):
            assert_same(rows, i, traces[seam_id])


def test_a_damaged_row_group_costs_its_own_seams_only_and_they_are_named(folder: Path) -> None:
    manifest = read_manifest(folder)
    path = folder / manifest.parts[0].path
    with pq.ParquetFile(path) as file:
        group = file.metadata.row_group(1)
        columns = [group.column(k) for k in range(group.num_columns)]
    column = next(one for one in columns if one.path_in_schema.startswith("ch_specular"))
    data, first = bytearray(path.read_bytes()), column.data_page_offset
    data[first : first + 200] = b"\xff" * 200
    path.write_bytes(data)
    rows, (unread,) = read(folder, manifest)
    assert sum(map(len, rows)) == SEAMS - unread.seams
    assert (unread.first_row, unread.seams) == (256, 256)
    assert unread.seam_ids == tuple(f"S{i:04}" for i in range(256, 512))


@pytest.mark.parametrize(
    "damaged",
    [lambda _: b"no parquet", lambda data: data.replace(b"pitch_mm", b"\x80itch_mm")],
    ids=["all of it", "a column name"],
)
def test_a_part_with_a_damaged_footer_is_listed_as_a_whole(
    folder: Path, damaged: Callable[[bytes], bytes]
) -> None:
    manifest = read_manifest(folder)
    path = folder / manifest.parts[0].path
    path.write_bytes(damaged(path.read_bytes()))
    rows, (unread,) = read(folder, manifest)
    assert not rows
    assert unread.seams == SEAMS


def test_a_part_that_went_away_says_to_run_again(folder: Path) -> None:
    manifest = read_manifest(folder)
    (folder / manifest.parts[0].path).unlink()
    with pytest.raises(StorageProblem, match="run again"):
        read(folder, manifest)


def test_parts_whose_lists_may_hold_nulls_are_read_alike(folder: Path) -> None:
    # So were parts written before the lists said that they hold none.
    manifest = read_manifest(folder)
    now, _ = read(folder, manifest)
    for part in manifest.parts:
        table = pq.read_table(folder / part.path)
        marked = pa.list_(pa.field("element", pa.float32(), nullable=True))
        kinds = [field.with_type(marked) if field.name.startswith("ch_") else field for field in table.schema]
        assert not table.schema.equals(pa.schema(kinds))
        pq.write_table(table.cast(pa.schema(kinds)), folder / part.path, row_group_size=256)
    before, _ = read(folder, manifest)
    assert sum(map(len, before)) == SEAMS
    for new, old in zip(now, before, strict=True):
        assert new.facts.equals(old.facts)
        assert np.array_equal(new.batch.starts, old.batch.starts)
        assert np.array_equal(new.batch.counts, old.batch.counts)
        assert all(np.array_equal(a, b) for a, b in zip(new.batch.values, old.batch.values, strict=True))
    assert list(SeamStore(folder).iter_traces())
