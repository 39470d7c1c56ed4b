from __future__ import annotations

import pandas as pd
import pytest

from seamtell.pipeline.errors import BadInput, StorageProblem
from seamtell.pipeline.store.section_rows import SECTION_COLUMNS
from seamtell.pipeline.store.sections import add_sections, read_sections

GOOD = {
    "section_id": "X1",
    "seam_id": "S1",
    "position_mm": "5.0",
    "position_tol_mm": "1.0",
    "flaw": "pinhole",
    "side": "top",
    "depth_mm": "0.4",
    "length_mm": "0.5",
    "width_mm": "",
    "purpose": "targeted",
    "examiner": "J",
    "sectioned_on": "2026-03-20",
    "note": "",
}


@pytest.fixture
def cut(shop):
    """A shop with one seam from 0 to 9.75 mm."""
    shop.take(shop.write(shop.text()))
    return shop


def table(*rows, columns=SECTION_COLUMNS):
    full = [{**GOOD, **row} for row in rows]
    return "\n".join([",".join(columns), *(",".join(row[name] for name in columns) for row in full)]) + "\n"


def add(shop, text, name="sections.csv", **options):
    return add_sections(shop.ws, shop.write(text, name), **options)


def test_good_rows_are_stored_sorted_with_their_types(cut):
    report = add(cut, table({"section_id": "X2", "depth_mm": ""}, {}))
    assert (report.added, report.rows) == (2, ())
    frame = read_sections(cut.ws)
    assert tuple(frame.columns) == SECTION_COLUMNS
    assert list(frame["section_id"]) == ["X1", "X2"]
    assert frame["depth_mm"].dtype == "float64"
    assert frame["depth_mm"].isna().tolist() == [False, True]
    assert frame["sectioned_on"][0] == "2026-03-20"


def test_an_empty_store_of_sections_has_the_same_columns_and_types(cut):
    empty = read_sections(cut.ws)
    add(cut, table({}))
    assert dict(empty.dtypes) == dict(read_sections(cut.ws).dtypes)


BAD_ROWS = {
    "an unknown seam": ({"seam_id": "S9"}, "unknown_seam", "seam 'S9' is not in the store"),
    "a position beyond the end": ({"position_mm": "9.8"}, "beyond_seam", "runs from 0 to 9.75 mm"),
    "a position before the start": ({"position_mm": "-0.1"}, "beyond_seam", "beyond the seam"),
    "an unknown flaw": ({"flaw": "crack"}, "unknown_label", "flaw 'crack' is not one of pinhole, edge_notch"),
    "an unknown side": ({"side": "left"}, "unknown_label", "side 'left'"),
    "an unknown purpose": ({"purpose": "fun"}, "unknown_label", "purpose 'fun'"),
    "no purpose": ({"purpose": ""}, "unknown_label", "purpose ''"),
    "a word for a position": ({"position_mm": "mid"}, "non_numeric", "position_mm 'mid'"),
    "no position": ({"position_mm": ""}, "bad_value", "no position_mm"),
    "an infinite position": ({"position_mm": "inf"}, "not_finite", "position_mm 'inf'"),
    "no tolerance": ({"position_tol_mm": ""}, "bad_value", "no position_tol_mm"),
    "a negative tolerance": ({"position_tol_mm": "-1"}, "bad_value", "below zero"),
    "a negative depth": ({"depth_mm": "-0.2"}, "bad_value", "depth_mm -0.2 is below zero"),
    "a decimal comma": ({"position_mm": '"5,5"'}, "decimal_comma", "'5,5' has a decimal comma"),
    "no section id": ({"section_id": ""}, "bad_value", "no section_id"),
    "a day that cannot be": ({"sectioned_on": "2026-02-30"}, "bad_value", "sectioned_on '2026-02-30'"),
    "a field too many": ({"note": "a,b"}, "field_count", "14 fields for 13 columns"),
    "control characters": ({"note": "a\x07"}, "bad_value", "control characters"),
}


@pytest.mark.parametrize("what", BAD_ROWS)
def test_each_bad_row_is_rejected_with_its_line_and_the_good_ones_go_in(cut, what):
    change, code, message = BAD_ROWS[what]
    report = add(cut, table({"section_id": "X0"}, change))
    assert (report.added, report.rejected) == (1, 1)
    (row,) = report.rows
    assert (row.reason, row.row, row.kind) == (code, 3, "section")
    assert message in row.message
    assert row.do
    assert (cut.ws.rejected_dir / "files" / row.sha256).is_file()


def test_the_same_table_twice_changes_nothing(cut):
    add(cut, table({}))
    before = (cut.ws.sections_dir / "sections.parquet").read_bytes()
    report = add(cut, table({}))
    assert (report.added, report.unchanged) == (0, 1)
    assert (cut.ws.sections_dir / "sections.parquet").read_bytes() == before


def test_other_values_under_a_known_id_are_a_conflict_and_the_stored_ones_stay(cut):
    add(cut, table({}))
    report = add(cut, table({"flaw": "mismatch"}))
    assert (report.added, report.conflicts) == (0, 1)
    assert report.rows[0].reason == "section_id_conflict"
    assert read_sections(cut.ws)["flaw"].tolist() == ["pinhole"]
    assert cut.store.conflicts() == frozenset()


def test_replace_takes_the_new_values_and_keeps_the_old_ones_aside(cut):
    add(cut, table({}))
    add(cut, table({"flaw": "mismatch"}))
    report = add(cut, table({"flaw": "mismatch"}), replace=True)
    assert (report.added, report.rows, report.resolved) == (1, (), 1)
    assert read_sections(cut.ws)["flaw"].tolist() == ["mismatch"]
    old = next(row for row in cut.rejected() if row.source == "section store")
    assert "pinhole" in (cut.ws.rejected_dir / "files" / old.sha256).read_text()


def test_a_mended_row_settles_its_rejection(cut):
    add(cut, table({"flaw": "crack"}))
    report = add(cut, table({}))
    assert (report.added, report.resolved) == (1, 1)
    assert [row.status for row in cut.rejected()] == ["resolved"]


def test_a_parquet_table_gives_the_same_sections(cut):
    add(cut, table({}))
    frame = pd.DataFrame([GOOD]).astype({"position_mm": float, "position_tol_mm": float, "depth_mm": float})
    frame["sectioned_on"] = pd.to_datetime(frame["sectioned_on"])
    path = cut.inbox / "sections.parquet"
    frame.to_parquet(path)
    assert add_sections(cut.ws, path).unchanged == 1


@pytest.mark.parametrize("text", [b"examiner", b"pinhole"], ids=["name of a column", "value"])
def test_a_parquet_table_with_a_damaged_text_is_refused_as_a_whole(cut, text):
    path = cut.inbox / "sections.parquet"
    pd.DataFrame([GOOD]).to_parquet(path, compression=None)
    path.write_bytes(path.read_bytes().replace(text, b"\x80" + text[1:]))
    with pytest.raises(BadInput, match=r"damaged or no Parquet file.*can't decode"):
        add_sections(cut.ws, path)
    assert read_sections(cut.ws).empty


def test_only_the_required_columns_are_required(cut):
    columns = ("section_id", "seam_id", "position_mm", "position_tol_mm", "flaw", "purpose")
    assert add(cut, table({}, columns=columns)).added == 1
    assert read_sections(cut.ws)["side"].tolist() == ["na"]


BAD_TABLES = {
    "no flaw column": (
        table({}, columns=("section_id", "seam_id", "position_mm")),
        "no column 'position_tol_mm'",
    ),
    "semicolons": (table({}).replace(",", ";"), "no column 'section_id'"),
    "nothing": ("", "the file is empty"),
    "names only": (table(), "a table without rows"),
    "another encoding": (table({"examiner": "Jörg"}).encode("cp1252"), "not UTF-8 text"),
    "bytes that no text has": (b"\x00\x01" * 50, "not a text file"),
    "a column twice": (table({}, columns=(*SECTION_COLUMNS, "note")), "two columns are called 'note'"),
}


@pytest.mark.parametrize("what", BAD_TABLES)
def test_a_table_that_cannot_be_read_is_one_line(cut, what):
    text, message = BAD_TABLES[what]
    with pytest.raises(BadInput) as caught:
        add(cut, text)
    assert message in str(caught.value)
    assert caught.value.do
    assert "\n" not in str(caught.value)


def test_a_file_that_is_not_there_is_one_line(cut):
    with pytest.raises(BadInput, match="no such file"):
        add_sections(cut.ws, cut.inbox / "none.csv")


def test_a_damaged_section_store_is_one_line(cut):
    (cut.ws.sections_dir / "sections.parquet").write_bytes(b"PAR1 and no more")
    with pytest.raises(StorageProblem, match="section store is damaged"):
        read_sections(cut.ws)
