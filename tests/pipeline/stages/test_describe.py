from __future__ import annotations

import errno
import os
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow.parquet as pq
import pytest

from seamtell.features.contracts import SeamTrace
from seamtell.features.descriptors import registry
from seamtell.pipeline.describe import describe, describe_seams
from seamtell.pipeline.errors import BadInput, StorageProblem
from seamtell.pipeline.init import init_workspace
from seamtell.pipeline.store.seam_store import SeamStore
from seamtell.pipeline.store.writer import StoreWriter
from seamtell.pipeline.streaming.indication_rows import indications_schema
from seamtell.pipeline.workspace import Workspace

MakeTrace = Callable[[int], tuple[SeamTrace, str, float]]


@pytest.fixture(scope="module")
def described(untrained_shop: Workspace) -> pd.DataFrame:
    return describe_seams(untrained_shop)


def test_every_flaw_of_the_shop_has_one_row_with_every_descriptor(described: pd.DataFrame) -> None:
    assert not set(registry.names()) - set(described.columns)
    assert described["seam_id"].nunique() == len(described) == 120


def test_no_column_occurs_twice(described: pd.DataFrame) -> None:
    assert described.columns.is_unique


def test_the_file_holds_what_is_described_in_memory(
    untrained_shop: Workspace, described: pd.DataFrame, tmp_path: Path
) -> None:
    result = describe(untrained_shop, tmp_path / "out")
    assert (result.seams, result.indications, result.conflicts) == (130, 120, 0)
    stored = pd.read_parquet(result.path)  # in the order of the store: by line, then by time
    stored = stored.sort_values(by=["welded_at", "seam_id", "indication"], ignore_index=True)
    pd.testing.assert_frame_equal(stored, described, check_dtype=False)


def files(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_the_bytes_depend_neither_on_threads_nor_on_the_size_of_a_batch(
    untrained_shop: Workspace, tmp_path: Path
) -> None:
    one = describe(untrained_shop, tmp_path / "one", threads=1, batch_seams=7, unit_seams=60)
    two = describe(untrained_shop, tmp_path / "two", threads=2, unit_seams=60)
    assert files(one.path.parent) == files(two.path.parent)


def test_metadata_of_the_seam_stands_beside_its_indication(
    untrained_shop: Workspace, described: pd.DataFrame
) -> None:
    metadata = SeamStore(untrained_shop.traces_dir).metadata().set_index("seam_id")
    for column in ("recipe", "line", "coil", "shift", "thickness_a_mm", "thickness_b_mm", "welded_at"):
        expected = metadata.loc[described["seam_id"], column]
        assert described[column].tolist() == expected.tolist()


def test_chosen_seams_are_described_as_among_all(untrained_shop: Workspace, described: pd.DataFrame) -> None:
    some = describe_seams(untrained_shop, ["S0004", "S0011"])
    whole = described[described["seam_id"].isin(["S0004", "S0011"])].reset_index(drop=True)
    pd.testing.assert_frame_equal(some, whole)


def test_an_unknown_seam_is_named(untrained_shop: Workspace) -> None:
    with pytest.raises(BadInput, match="'nobody'"):
        describe_seams(untrained_shop, ["nobody"])


def test_seams_whose_recipe_has_no_limits_are_left_out_and_counted(
    untrained_copy: Workspace, make_trace: MakeTrace
) -> None:
    writer = StoreWriter(untrained_copy.traces_dir)
    writer.add(replace(make_trace(501)[0], recipe="R9"), "made in the test")
    writer.commit()
    result = describe(untrained_copy)
    assert result.without_limits == {"R9": 1}
    assert (result.seams, result.indications) == (131, 120)
    assert "S0501" not in set(pd.read_parquet(result.path)["seam_id"])


def test_a_seam_with_two_differing_traces_is_flagged(
    untrained_copy: Workspace, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(SeamStore, "conflicts", lambda _: frozenset({"S0001"}))
    result = describe(untrained_copy)
    stored = pd.read_parquet(result.path)
    assert result.conflicts == 1
    assert set(stored.loc[stored["conflict"], "seam_id"]) == {"S0001"}


def test_a_store_of_sound_seams_gives_an_empty_file_with_all_columns(
    tmp_path: Path, untrained_shop: Workspace
) -> None:
    ws = init_workspace(tmp_path / "quiet")
    ws.limits_path.write_bytes(untrained_shop.limits_path.read_bytes())
    trace = next(SeamStore(untrained_shop.traces_dir).iter_traces())
    flat = {name: np.full(300, 5.0, np.float32) for name in trace.amplitudes_pct}
    writer = StoreWriter(ws.traces_dir)
    writer.add(replace(trace, amplitudes_pct=flat), "made in the test")
    writer.commit()
    result = describe(ws)
    assert result.indications == 0
    assert pq.read_table(result.path).schema.equals(indications_schema())
    assert list(describe_seams(ws).columns) == indications_schema().names


def test_an_empty_store_says_to_ingest_first(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match=r"no seams.*seamtell ingest"):
        describe(init_workspace(tmp_path / "ws"))


def test_a_folder_that_holds_something_else_is_refused(untrained_shop: Workspace, tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("mine")
    with pytest.raises(BadInput, match=r"holds 'notes\.txt'.*nothing was overwritten"):
        describe(untrained_shop, tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["notes.txt"]


def test_a_file_as_output_is_refused(untrained_shop: Workspace, tmp_path: Path) -> None:
    with pytest.raises(BadInput, match=r"got 'table\.parquet', expected a folder"):
        describe(untrained_shop, tmp_path / "table.parquet")
    (tmp_path / "table").write_text("mine")
    with pytest.raises(BadInput, match="is a file, expected a folder"):
        describe(untrained_shop, tmp_path / "table")


def test_a_full_disk_leaves_the_older_result_as_it_was_and_nothing_beside_it(
    untrained_shop: Workspace, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    describe(untrained_shop, tmp_path / "out")
    older = files(tmp_path)

    def full(*_: object, **__: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(pq.ParquetWriter, "write_table", full)
    with pytest.raises(StorageProblem, match="the disk is full"):
        describe(untrained_shop, tmp_path / "out")
    assert files(tmp_path) == older
