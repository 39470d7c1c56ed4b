"""An unfinished result in an object store: complete only with its record, never over something else."""

from __future__ import annotations

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.files.places import Place
from seamtell.pipeline.streaming.target import open_target
from seamtell.pipeline.streaming.unfinished_place import open_unfinished_place

from .count_job import Count, CountJob, fill


@pytest.fixture
def place(request: pytest.FixtureRequest) -> Place:
    return Place(f"memory://unfinished/{request.node.name}")


def read(place: Place) -> list[int]:
    rows = []
    for name in (place / "rows.parquet").names():
        rows += pq.read_table(pa.BufferReader((place / "rows.parquet" / name).read_bytes()))[
            "row"
        ].to_pylist()
    return rows


def test_the_record_of_the_whole_appears_last(place: Place) -> None:
    unfinished = open_unfinished_place(place, "count", "k", CountJob())
    fill(unfinished, 0, 1, 2)
    unfinished.write_record("count.json", b"{}")
    assert "count.json" not in place.names()
    unfinished.publish(place)
    assert place.names() == ("count.json", "rows.parquet")
    assert read(place) == [1, 2]


def test_what_is_finished_waits_for_the_next_run_of_the_same_key(place: Place) -> None:
    fill(open_unfinished_place(place, "count", "k", CountJob()), 0, 1, 2)
    again = open_unfinished_place(place, "count", "k", CountJob())
    record = again.finished(0)
    assert record is not None
    assert record.sums == Count(rows=2)
    assert again.finished(1) is None


def test_a_run_that_was_killed_before_its_first_unit_can_be_gone_on_with(place: Place) -> None:
    unfinished = open_unfinished_place(place, "count", "k", CountJob())
    unfinished.put(0, [b"half of a unit"])
    assert open_unfinished_place(place, "count", "k", CountJob()).finished(0) is None


def test_what_a_run_of_other_inputs_left_is_not_touched(place: Place) -> None:
    fill(open_unfinished_place(place, "count", "old", CountJob()), 0, 1)
    with pytest.raises(BadInput, match="holds what another run left"):
        open_unfinished_place(place, "count", "new", CountJob())
    assert read(place) == [1]


def test_a_complete_result_is_never_overwritten(place: Place) -> None:
    unfinished = open_unfinished_place(place, "count", "k", CountJob())
    unfinished.write_record("count.json", b"{}")
    unfinished.publish(place)
    with (
        pytest.raises(BadInput, match="is not empty; results elsewhere are never overwritten"),
        open_target(place, "count", "k", CountJob()),
    ):
        pass


def test_a_result_without_units_can_be_read_and_has_its_columns(place: Place) -> None:
    open_unfinished_place(place, "count", "k", CountJob()).publish(place)
    assert read(place) == []
    assert (place / "rows.parquet").names() == ("part-000000.parquet",)


def test_what_is_discarded_leaves_nothing(place: Place) -> None:
    unfinished = open_unfinished_place(place, "count", "k", CountJob())
    fill(unfinished, 0, 1)
    unfinished.discard()
    assert place.names() == ()
