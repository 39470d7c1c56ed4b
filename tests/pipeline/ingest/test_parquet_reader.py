from __future__ import annotations

import io
from datetime import UTC, datetime

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

N = 40


def amplitudes(seed, n=N):
    rng = np.random.default_rng(seed)
    return rng.uniform(6, 8, n).astype(np.float32), rng.uniform(0, 1, n).astype(np.float32)


def many(count=3, **changes):
    """One Parquet with many seams, one a row."""
    columns = {
        "seam_id": [f"S{i}" for i in range(count)],
        "welded_at": [datetime(2026, 3, 1 + i, tzinfo=UTC) for i in range(count)],
        "line": ["L1"] * count,
        "recipe": ["R1"] * count,
        "operator_group": ["blue"] * count,
        "start_mm": [0.0] * count,
        "pitch_mm": [0.25] * count,
        "specular": [amplitudes(i)[0] for i in range(count)],
        "scatter": [amplitudes(i)[1] for i in range(count)],
        **changes,
    }
    return pa.table({name: values for name, values in columns.items() if values is not None})


def write(shop, table, name="many.parquet"):
    path = shop.inbox / name
    pq.write_table(table, path)
    return path


def test_one_file_with_many_seams_is_read(shop):
    report = shop.take(write(shop, many()))
    assert (report.files, report.added) == (1, 3)
    trace = shop.store.get("S2")
    np.testing.assert_array_equal(trace.amplitudes_pct["scatter"], amplitudes(2)[1])
    assert dict(trace.extra) == {"operator_group": "blue"}


def test_a_list_of_positions_gives_the_grid(shop):
    positions = [2.0 + 0.5 * np.arange(N)] * 3
    shop.take(write(shop, many(start_mm=None, pitch_mm=None, position_mm=positions)))
    trace = shop.store.get("S1")
    assert (trace.start_mm, trace.pitch_mm) == (2.0, 0.5)


def test_a_bad_seam_of_many_keeps_its_own_row_and_the_rest_go_in(shop):
    bad = amplitudes(1)[0].copy()
    bad[7] = np.nan
    table = many(specular=[amplitudes(0)[0], bad, amplitudes(2)[0]])
    report = shop.take(write(shop, table))
    assert (report.added, report.rejected) == (2, 1)
    (row,) = report.rows
    assert (row.reason, row.row, row.seam_id) == ("not_finite", 2, "S1")
    kept = pq.read_table(io.BytesIO((shop.ws.rejected_dir / "files" / row.sha256).read_bytes()))
    assert kept.num_rows == 1
    assert kept.column("seam_id").to_pylist() == ["S1"]


def test_an_empty_value_in_a_list_is_not_finite(shop):
    holed = [7.0] * (N - 1) + [None]
    report = shop.take(write(shop, many(specular=[holed] * 3)))
    assert {row.reason for row in report.rows} == {"not_finite"}


def test_lists_of_different_length_are_rejected(shop):
    report = shop.take(write(shop, many(scatter=[amplitudes(i, N - i)[1] for i in range(3)])))
    assert report.added == 1
    assert [row.reason for row in report.rows] == ["length_mismatch"] * 2


def test_an_empty_list_is_rejected(shop):
    report = shop.take(write(shop, many(1, specular=[np.zeros(0)], scatter=[np.zeros(0)])))
    assert [row.reason for row in report.rows] == ["empty"]


def test_a_pitch_of_zero_is_rejected(shop):
    report = shop.take(write(shop, many(1, pitch_mm=[0.0])))
    assert [row.reason for row in report.rows] == ["not_finite"]


def test_words_for_amplitudes_are_rejected(shop):
    report = shop.take(write(shop, many(1, specular=[["high"] * N])))
    assert [row.reason for row in report.rows] == ["non_numeric"]


@pytest.mark.parametrize("missing", ["scatter", "pitch_mm"])
def test_a_missing_column_rejects_the_file(shop, missing):
    report = shop.take(write(shop, many(**{missing: None})))
    (row,) = report.rows
    assert (row.reason, row.row) == ("missing_column", 0)
    assert f"'{missing}'" in row.message


def test_one_sample_a_row_is_one_seam_with_metadata_in_the_file(shop):
    specular, scatter = amplitudes(0)
    table = pa.table({"position_mm": 0.25 * np.arange(N), "specular": specular, "scatter": scatter})
    facts = {"seam_id": "P1", "welded_at": "2026-03-02T10:00:00Z", "line": "L1", "recipe": "R1"}
    shop.take(write(shop, table.replace_schema_metadata(facts)))
    np.testing.assert_array_equal(shop.store.get("P1").amplitudes_pct["specular"], specular)


def test_one_sample_a_row_with_a_column_of_seam_ids_is_many_seams(shop):
    parts = []
    for i in range(3):
        specular, scatter = amplitudes(i)
        parts.append(
            pa.table(
                {
                    "seam_id": [f"Q{i}"] * N,
                    "welded_at": ["2026-03-02T10:00:00Z"] * N,
                    "line": ["L1"] * N,
                    "recipe": ["R1"] * N,
                    "position_mm": 0.25 * np.arange(N),
                    "specular": specular,
                    "scatter": scatter if i != 1 else -scatter,
                }
            )
        )
    report = shop.take(write(shop, pa.concat_tables(parts)))
    assert report.added == 2
    (row,) = report.rows
    assert (row.reason, row.seam_id) == ("negative_amplitude", "Q1")
    assert N < row.row <= 2 * N


def test_a_file_cut_off_is_truncated(shop):
    path = write(shop, many())
    data = path.read_bytes()
    assert shop.reject(data[: len(data) // 2], "many.parquet").reason == "truncated"


def test_a_damaged_file_is_unreadable(shop):
    path = write(shop, many())
    data = bytearray(path.read_bytes())
    data[-40:-8] = b"\xff" * 32
    assert shop.reject(bytes(data), "many.parquet").reason == "unreadable_parquet"


def test_text_that_is_no_unicode_rejects_the_file(shop):
    buffer = io.BytesIO()
    pq.write_table(many(), buffer, compression="none")
    data = buffer.getvalue().replace(b"L1", b"\x801")
    assert b"\x801" in data
    assert shop.reject(data, "many.parquet").reason == "unreadable_parquet"


def test_text_under_the_wrong_suffix_is_unreadable(shop):
    assert shop.reject(shop.text(), "a.parquet").reason == "unreadable_parquet"


def test_an_empty_parquet_file_is_empty(shop):
    assert shop.reject(b"", "a.parquet").reason == "empty"
    path = write(shop, many().slice(0, 0))
    assert shop.take(path).rows[0].reason == "empty"


def test_a_profile_maps_the_columns_of_a_parquet_file(shop):
    shop.profile(
        '[metadata.keys]\nseam_id = "Naht"\n[channels]\nspecular = "A"\nscatter = "B"\n'
        '[columns]\nignored = ["start_mm"]\n'
    )
    table = many().rename_columns(
        ["Naht", "welded_at", "line", "recipe", "operator_group", "start_mm", "pitch_mm", "A", "B"]
    )
    assert shop.take(write(shop, table), profile="shop").added == 3
