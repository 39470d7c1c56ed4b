"""A store at another place than in the workspace."""

from __future__ import annotations

from pathlib import Path

import pytest

from seamtell.pipeline.errors import BadInput, StorageProblem
from seamtell.pipeline.files.places import Place
from seamtell.pipeline.init import init_workspace
from seamtell.pipeline.store.elsewhere import conflicts_of
from seamtell.pipeline.store.manifest import read_manifest
from seamtell.pipeline.store.rejected import InputKind, RejectedRow, RejectedTable


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
