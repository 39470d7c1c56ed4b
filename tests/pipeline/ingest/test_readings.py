from __future__ import annotations

import json

import pandas as pd
import pytest
import typer
from typer.testing import CliRunner

from seamtell.pipeline.commands import ingest as ingest_commands
from seamtell.pipeline.commands import sections as section_commands
from seamtell.pipeline.console import ExitCode
from seamtell.pipeline.errors import BadInput, StorageProblem, WorkspaceBusy
from seamtell.pipeline.files.locking import workspace_lock
from seamtell.pipeline.store.readings import READING_COLUMNS, add_readings, read_readings
from seamtell.pipeline.store.sections import add_sections, read_sections

SECTIONS = """section_id,seam_id,position_mm,position_tol_mm,flaw,purpose
X1,S1,5.0,1.0,pinhole,targeted
X2,S1,8.0,1.0,sound,random
"""


@pytest.fixture
def cut(shop):
    """A shop with one seam and two sections."""
    shop.take(shop.write(shop.text()))
    add_sections(shop.ws, shop.write(SECTIONS, "sections.csv"))
    return shop


def table(*rows, columns=READING_COLUMNS):
    return "\n".join([",".join(columns), *rows]) + "\n"


def add(shop, text, name="readings.csv"):
    return add_readings(shop.ws, shop.write(text, name))


def test_readings_are_stored_in_the_order_in_which_they_came(cut):
    report = add(cut, table("X2,ann,sound,2026-03-20", "X1,ann,pinhole,"))
    add(cut, table("X1,ben,edge_notch,"), "later.csv")
    assert (report.added, report.rows) == (2, ())
    frame = read_readings(cut.ws)
    assert tuple(frame.columns) == READING_COLUMNS
    assert frame.to_numpy().tolist() == [
        ["X2", "ann", "sound", "2026-03-20"],
        ["X1", "ann", "pinhole", ""],
        ["X1", "ben", "edge_notch", ""],
    ]


def test_an_empty_store_of_readings_has_the_same_columns_and_types(cut):
    empty = read_readings(cut.ws)
    add(cut, table("X1,ann,pinhole,"))
    assert dict(empty.dtypes) == dict(read_readings(cut.ws).dtypes)


def test_readings_leave_the_sections_as_they_were(cut):
    before = read_sections(cut.ws)
    add(cut, table("X1,ann,mismatch,"))
    pd.testing.assert_frame_equal(read_sections(cut.ws), before)


BAD_ROWS = {
    "an unknown section": ("X9,ann,pinhole,", "unknown_section", "section 'X9' is not in the store"),
    "an unknown flaw": ("X1,ann,crack,", "unknown_label", "flaw 'crack' is not one of pinhole"),
    "no examiner": ("X1, ,pinhole,", "bad_value", "no examiner"),
    "no section": (",ann,pinhole,", "bad_value", "no section_id"),
    "a day that cannot be": ("X1,ann,pinhole,2026-02-30", "bad_value", "read_on '2026-02-30' is not a day"),
    "a field too many": ("X1,ann,pinhole,,x", "field_count", "5 fields for 4 columns"),
    "control characters": ("X1,a\x07nn,pinhole,", "bad_value", "control characters"),
    "another flaw than before": ("X2,ann,pinhole,", "read_already", "read section 'X2' as sound before"),
}


@pytest.mark.parametrize("what", BAD_ROWS)
def test_each_bad_row_is_kept_aside_with_its_line_and_the_good_ones_go_in(cut, what):
    text, code, message = BAD_ROWS[what]
    report = add(cut, table("X2,ann,sound,", text))
    assert (report.added, report.rejected) == (1, 1)
    (row,) = report.rows
    assert (row.reason, row.row, row.kind) == (code, 3, "reading")
    assert message in row.message
    assert row.do
    kept = (cut.ws.rejected_dir / "files" / row.sha256).read_text(encoding="utf-8")
    assert text in kept
    assert len(read_readings(cut.ws)) == 1


def test_the_first_reading_stays(cut):
    add(cut, table("X1,ann,pinhole,"))
    report = add(cut, table("X1,ann,sound,"), "second.csv")
    assert (report.added, report.rejected) == (0, 1)
    assert read_readings(cut.ws)["flaw"].tolist() == ["pinhole"]


def test_the_same_table_again_changes_nothing(cut):
    text = table("X1,ann,pinhole,", "X1,ben,sound,")
    add(cut, text)
    before = (cut.ws.sections_dir / "readings.parquet").read_bytes()
    report = add(cut, text)
    assert (report.added, report.unchanged, report.rejected) == (0, 2, 0)
    assert (cut.ws.sections_dir / "readings.parquet").read_bytes() == before


def test_a_mended_table_settles_its_rejections_and_no_others(cut):
    add(cut, table("X1,ann,crack,"))
    add(cut, table("X1,ben,crack,"), "other.csv")
    report = add(cut, table("X1,ann,pinhole,"))
    assert (report.added, report.resolved) == (1, 1)
    assert sorted(row.status for row in cut.rejected()) == ["open", "resolved"]


def test_adding_sections_again_does_not_settle_a_rejected_reading(cut):
    add(cut, table("X9,ann,pinhole,"))
    add_sections(cut.ws, cut.inbox / "sections.csv")
    assert [row.status for row in cut.rejected()] == ["open"]


def test_readings_do_not_settle_what_the_same_file_name_left_open_as_sections(cut):
    add_sections(cut.ws, cut.write(SECTIONS.replace("sound", "crack"), "table.csv"))
    add(cut, table("X1,ann,pinhole,"), "table.csv")
    assert [(row.kind, row.status) for row in cut.rejected()] == [("section", "open")]


def test_a_table_without_dates_or_as_parquet_is_taken_too(cut):
    assert add(cut, table("X1,ann,pinhole", columns=READING_COLUMNS[:3])).added == 1
    path = cut.inbox / "readings.parquet"
    pd.DataFrame([{"section_id": "X2", "examiner": "ann", "flaw": "sound"}]).to_parquet(path)
    assert add_readings(cut.ws, path).added == 1
    assert read_readings(cut.ws)["read_on"].tolist() == ["", ""]


BAD_TABLES = {
    "no examiner column": (table("X1,pinhole", columns=("section_id", "flaw")), "no column 'examiner'"),
    "nothing": ("", "the file is empty"),
    "names only": (table(), "a table without rows"),
}


@pytest.mark.parametrize("what", BAD_TABLES)
def test_a_table_that_cannot_be_read_is_one_line(cut, what):
    text, message = BAD_TABLES[what]
    with pytest.raises(BadInput) as caught:
        add(cut, text)
    assert message in str(caught.value)
    assert not (cut.ws.sections_dir / "readings.parquet").exists()


def test_a_damaged_store_of_readings_is_one_line(cut):
    (cut.ws.sections_dir / "readings.parquet").write_bytes(b"PAR1 and no more")
    with pytest.raises(StorageProblem, match="store of readings is damaged"):
        read_readings(cut.ws)


def test_a_busy_workspace_is_not_written(cut):
    with workspace_lock(cut.ws), pytest.raises(WorkspaceBusy):
        add(cut, table("X1,ann,pinhole,"))


@pytest.fixture
def call(cut):
    app = typer.Typer()
    for area in (ingest_commands, section_commands):
        area.register(app)

    def run(*words):
        return CliRunner().invoke(app, [*map(str, words), "--workspace", str(cut.ws.root)])

    return run


def test_the_command_takes_readings_and_says_what_next(cut, call):
    result = call("sections", "readings", cut.write(table("X1,ann,pinhole,"), "readings.csv"))
    assert result.exit_code == ExitCode.DONE
    assert "Next: seamtell evaluate" in result.output


def test_the_command_ends_with_three_when_rows_were_kept_aside(cut, call):
    path = cut.write(table("X9,ann,pinhole,"), "readings.csv")
    result = call("sections", "readings", path, "--json")
    assert result.exit_code == ExitCode.DONE_WITH_REJECTIONS
    assert json.loads(result.stdout)["rows"][0]["reason"] == "unknown_section"
    assert "unknown_section" in call("rejected").output
