"""The unfinished folder: what is in it is whole, held by one process, and gone on with by the next."""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from seamtell.pipeline.errors import StorageProblem, WorkspaceBusy
from seamtell.pipeline.files.atomic import TEMPORARY_PREFIX
from seamtell.pipeline.files.part_file import PartFile
from seamtell.pipeline.streaming.unfinished import open_unfinished

from .count_job import SCHEMA, Count, CountJob, fill


def stop_after_first_unit(folder: Path, key: str, *rows: int) -> Path:
    with (
        suppress(KeyboardInterrupt),
        open_unfinished(folder, "count", key, CountJob()) as unfinished,
    ):
        fill(unfinished, 0, *rows)
        raise KeyboardInterrupt
    return unfinished.folder


def test_a_published_folder_holds_the_parts_and_nothing_of_how_they_were_made(tmp_path: Path) -> None:
    with open_unfinished(tmp_path, "count", "k", CountJob()) as unfinished:
        fill(unfinished, 0, 1, 2)
        fill(unfinished, 1, 3)
        unfinished.write_record("count.json", b"{}")
        unfinished.publish(tmp_path / "out")
    assert sorted(str(path.relative_to(tmp_path)) for path in tmp_path.rglob("*") if path.is_file()) == [
        "out/count.json",
        "out/rows.parquet/part-000000.parquet",
        "out/rows.parquet/part-000001.parquet",
    ]
    assert pq.read_table(tmp_path / "out" / "rows.parquet")["row"].to_pylist() == [1, 2, 3]


def test_a_result_without_units_can_be_read_and_has_its_columns(tmp_path: Path) -> None:
    with open_unfinished(tmp_path, "count", "k", CountJob()) as unfinished:
        unfinished.publish(tmp_path / "out")
    assert pq.read_table(tmp_path / "out" / "rows.parquet").schema.equals(SCHEMA)


def test_what_is_finished_waits_for_the_next_run_with_the_same_inputs(tmp_path: Path) -> None:
    stop_after_first_unit(tmp_path, "k", 1, 2)
    with open_unfinished(tmp_path, "count", "k", CountJob()) as unfinished:
        record = unfinished.finished(0)
        assert record is not None
        assert record.sums == Count(rows=2)
        assert unfinished.finished(1) is None


def test_what_a_run_killed_while_it_wrote_its_record_left_is_not_published(tmp_path: Path) -> None:
    left = stop_after_first_unit(tmp_path, "k", 1)
    (left / f"{TEMPORARY_PREFIX}half").write_bytes(b"{")
    (left / "rows.parquet" / f"{TEMPORARY_PREFIX}half").write_bytes(b"PAR1")
    with open_unfinished(tmp_path, "count", "k", CountJob()) as unfinished:
        unfinished.publish(tmp_path / "out")
    found = {path.name for path in (tmp_path / "out").rglob("*")}
    assert found == {"rows.parquet", "part-000000.parquet"}


def test_what_other_inputs_left_is_removed(tmp_path: Path) -> None:
    left = stop_after_first_unit(tmp_path, "old", 1)
    with open_unfinished(tmp_path, "count", "new", CountJob()) as unfinished:
        assert unfinished.finished(0) is None
        assert not left.exists()


def test_what_another_process_holds_is_left_alone(tmp_path: Path) -> None:
    with (
        open_unfinished(tmp_path, "count", "one", CountJob()) as held,
        open_unfinished(tmp_path, "count", "two", CountJob()),
    ):
        assert held.folder.exists()


def test_two_processes_never_do_the_same_work_at_once(tmp_path: Path) -> None:
    with (
        open_unfinished(tmp_path, "count", "k", CountJob()),
        pytest.raises(WorkspaceBusy, match="another process"),
        open_unfinished(tmp_path, "count", "k", CountJob()),
    ):
        pass


def test_an_error_inside_a_unit_leaves_no_file_of_it(tmp_path: Path) -> None:
    with open_unfinished(tmp_path, "count", "k", CountJob()) as unfinished:
        with pytest.raises(pa.ArrowException):
            fill(unfinished, 0, "no number")  # type: ignore[arg-type]
        assert not list(unfinished.folder.rglob("*.parquet/*"))


def test_a_run_that_fails_before_its_first_unit_leaves_nothing(tmp_path: Path) -> None:
    with pytest.raises(RuntimeError), open_unfinished(tmp_path, "count", "k", CountJob()):
        raise RuntimeError
    assert not list(tmp_path.iterdir())


def test_a_record_cut_short_does_not_count(tmp_path: Path) -> None:
    with open_unfinished(tmp_path, "count", "k", CountJob()) as unfinished:
        fill(unfinished, 0, 1)
        (record,) = (unfinished.folder / ".units").iterdir()
        record.write_bytes(record.read_bytes()[:20])
        assert unfinished.finished(0) is None


def test_a_replaced_result_is_replaced_as_a_whole(tmp_path: Path) -> None:
    for rows in ([1, 2, 3], [4]):
        with open_unfinished(tmp_path, "count", f"k{len(rows)}", CountJob()) as unfinished:
            for number, row in enumerate(rows):
                fill(unfinished, number, row)
            unfinished.publish(tmp_path / "out", replace=True)
    assert pq.read_table(tmp_path / "out" / "rows.parquet")["row"].to_pylist() == [4]
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_a_disk_that_is_full_while_a_unit_is_flushed_is_said_and_leaves_no_part(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_: PartFile) -> None:
        raise OSError(28, os.strerror(28))

    with open_unfinished(tmp_path, "count", "k", CountJob()) as unfinished:
        monkeypatch.setattr(PartFile, "finish", full)
        with pytest.raises(StorageProblem, match="the disk is full"):
            fill(unfinished, 0, 1)
        assert not list(unfinished.folder.rglob("*.parquet/*"))
