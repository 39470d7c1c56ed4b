from __future__ import annotations

from dataclasses import replace

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from seamtell.pipeline.decisions.decided_batch import DecidedBatch
from seamtell.pipeline.decisions.decision_tables import (
    decision_schema,
    decision_table,
    indication_schema,
    indication_table,
)


def test_one_row_per_indication_with_its_seam_place_and_answer(decided: DecidedBatch) -> None:
    rows = indication_table(decided).to_pylist()
    assert [(row["seam_id"], row["indication"], row["label"], row["reason"]) for row in rows] == [
        ("A", 0, "pinhole", ""),
        ("A", 1, "unclassified", "ambiguous"),
        ("B", 0, "lack_of_fusion", ""),
        ("D", 0, "unclassified", "conflicting_traces"),
    ]
    assert [row["label_set"] for row in rows] == [
        "pinhole",
        "edge_notch+lack_of_fusion",
        "lack_of_fusion",
        "edge_notch+lack_of_fusion",
    ]
    assert [row["start_mm"] for row in rows] == [0.0, 10.0, 20.0, 30.0]
    assert [row["exceeds_limit"] for row in rows] == [False, False, True, False]


def test_what_is_not_known_is_null(decided: DecidedBatch) -> None:
    rows = indication_table(decided).to_pylist()
    assert [row["p_pinhole"] for row in rows] == [0.8, None, 0.05, None]
    assert {row["novelty_p"] for row in rows} == {None}


def test_one_row_per_seam_with_its_verdicts_and_counts(decided: DecidedBatch) -> None:
    assert [list(row.values()) for row in decision_table(decided, "digest").to_pylist()] == [
        ["A", "accept", "accept", "", 2, 1, "", "digest"],
        ["B", "reject", "reject", "scatter+specular", 1, 0, "above_limit", "digest"],
        ["C", "reject", "reject", "", 0, 0, "no_limits_for_recipe", "digest"],
        ["D", "review", "accept", "", 1, 1, "conflicting_traces", "digest"],
    ]


def test_a_trial_has_no_column_that_could_be_taken_for_a_label(decided: DecidedBatch) -> None:
    table = indication_table(decided, trial_of_physics_only=True)
    assert "label" not in table.column_names
    assert table["trial_label"].to_pylist()[0] == "pinhole"
    assert table["physics_only"].to_pylist() == [True] * 4
    assert table.schema == indication_schema(trial=True)


def test_text_is_plain_so_that_tables_of_batches_lie_behind_each_other(decided: DecidedBatch) -> None:
    for table, schema in (
        (indication_table(decided), indication_schema()),
        (decision_table(decided, ""), decision_schema()),
    ):
        assert table.schema == schema
        assert not any(pa.types.is_dictionary(field.type) for field in table.schema)
        assert pa.concat_tables([table, table]).num_rows == 8


def test_pandas_reads_the_tables_back(decided: DecidedBatch, tmp_path) -> None:
    pq.write_table(indication_table(decided), tmp_path / "part.parquet")
    read = pq.read_table(tmp_path / "part.parquet").to_pandas()
    assert np.isnan(read["p_sound"]).tolist() == [False, True, False, True]
    assert read["label"].tolist() == ["pinhole", "unclassified", "lack_of_fusion", "unclassified"]


def test_ids_may_be_an_array(decided: DecidedBatch) -> None:
    array = replace(decided, seam_ids=np.array(decided.seam_ids, dtype=object))
    assert indication_table(array) == indication_table(decided)
