"""A store at another place than in the workspace."""

from __future__ import annotations

import io
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from seamtell.pipeline.errors import BadInput, StorageProblem
from seamtell.pipeline.files.places import Place
from seamtell.pipeline.init import init_workspace
from seamtell.pipeline.store.elsewhere import conflicts_of
from seamtell.pipeline.store.manifest import Part, read_manifest
from seamtell.pipeline.store.rejected import InputKind, RejectedRow, RejectedTable
from seamtell.pipeline.store.row_groups import Chunk, read_chunk, row_groups_of


def conflict(seam_id: str) -> RejectedRow:
    return RejectedRow(
        kind=InputKind.TRACE,
        sha256="",
        source="again.csv",
        row=0,
        seam_id=seam_id,
        reason="seam_id_conflict",
        message="differs",
        do="say which holds",
    )


def test_an_address_without_a_store_is_refused_rather_than_taken_for_an_empty_one() -> None:
    with pytest.raises(BadInput, match=r"memory://nothing/here: there is no manifest\.json"):
        read_manifest(Place("memory://nothing/here"))


def test_a_connection_that_breaks_stops_the_run_and_passes_for_no_damaged_seam(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    from fsspec.implementations.memory import MemoryFileSystem

    stream = io.BytesIO()
    pq.write_table(pa.table({"seam_id": ["S1", "S2"]}), stream)
    place = Place("memory://breaking")
    (place / "part.parquet").write_bytes(stream.getvalue())
    parts = (Part("part.parquet", 2, "2026-05-01T00:00:00+00:00", "S1"),)
    (chunk,) = row_groups_of(place, parts)
    assert isinstance(chunk, Chunk)

    def broken(*args: object, **kwargs: object) -> bytes:
        raise ConnectionResetError("reset by peer")

    monkeypatch.setattr(MemoryFileSystem, "cat_file", broken)
    with pytest.raises(StorageProblem, match="does not answer: reset by peer"):
        read_chunk(chunk)
    with pytest.raises(StorageProblem, match="does not answer: reset by peer"):
        list(row_groups_of(place, parts))


def test_conflicts_are_those_of_the_workspace_and_those_beside_the_store(tmp_path: Path) -> None:
    ws = init_workspace(tmp_path / "ws")
    own, beside = RejectedTable(ws.rejected_dir), RejectedTable(tmp_path / "aside")
    own.add(conflict("S1"))
    beside.add(conflict("S2"))
    own.save()
    beside.save()
    shop = Place("memory://conflicts/shop")
    (shop / "rejected" / "table.jsonl").write_bytes((tmp_path / "aside" / "table.jsonl").read_bytes())
    assert conflicts_of(ws, None) == {"S1"}
    assert conflicts_of(ws, shop / "traces") == {"S1", "S2"}


def test_a_damaged_table_of_conflicts_is_never_taken_for_none(tmp_path: Path) -> None:
    shop = Place("memory://conflicts/damaged")
    (shop / "rejected" / "table.jsonl").write_bytes(b"\xff{")
    with pytest.raises(StorageProblem, match="damaged"):
        conflicts_of(init_workspace(tmp_path / "ws"), shop / "traces")
