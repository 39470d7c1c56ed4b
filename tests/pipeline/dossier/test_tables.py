"""Tables as CSV, read back with pandas as an outsider would."""

from __future__ import annotations

import io

import pandas as pd
import pytest
from statsmodels.stats.proportion import proportion_confint

from seamtell.pipeline.dossier.cells import count_cell, estimate_cell, number_cell, text_cell
from seamtell.pipeline.dossier.content import Column, Table
from seamtell.pipeline.dossier.tables import table_csv
from seamtell.pipeline.evaluation.intervals import share
from seamtell.pipeline.evaluation.result import Estimate


def read(table: Table) -> pd.DataFrame:
    return pd.read_csv(io.BytesIO(table_csv(table)))


def test_a_figure_becomes_columns_that_statsmodels_can_check():
    columns = (Column("label", "class"), Column("recall", "recall"))
    frame = read(Table("t", "c", columns, ((text_cell("pinhole"), estimate_cell(share(9, 17))),)))
    row = frame.iloc[0]
    assert row["recall_count"] / row["recall_n"] == pytest.approx(row["recall"], abs=1e-9)
    # statsmodels, method "beta": the exact interval of Clopper and Pearson.
    low, high = proportion_confint(int(row["recall_count"]), int(row["recall_n"]), 0.05, method="beta")
    assert (row["recall_low"], row["recall_high"]) == pytest.approx((low, high), abs=1e-9)
    assert row["recall_level"] == 0.95


def test_what_is_unknown_is_empty_and_says_why():
    unknown = estimate_cell(Estimate(n=0, unknown="nothing unflagged was cut"))
    frame = read(Table("t", "c", (Column("of", "of"), Column("rate", "rate")), ((text_cell("a"), unknown),)))
    assert pd.isna(frame.loc[0, "rate"])
    assert frame.loc[0, "rate_unknown"] == "nothing unflagged was cut"


def test_words_in_place_of_a_figure_keep_their_column():
    columns = (Column("of", "of"), Column("missed", "missed"))
    rows = ((text_cell("a"), estimate_cell(share(1, 4))), (text_cell("sound"), text_cell("no flaw to miss")))
    frame = read(Table("t", "c", columns, rows))
    assert pd.isna(frame.loc[1, "missed"])
    assert frame.loc[1, "missed_unknown"] == "no flaw to miss"


def test_numbers_keep_their_precision_and_unknown_numbers_are_empty():
    columns = (Column("of", "of"), Column("size_mm", "size"), Column("n", "n"))
    rows = (
        (text_cell("a"), number_cell(1 / 3), count_cell(1234)),
        (text_cell("b"), number_cell(None), count_cell(None)),
    )
    frame = read(Table("t", "c", columns, rows))
    assert frame.loc[0, "size_mm"] == pytest.approx(1 / 3, abs=1e-10)
    assert frame.loc[0, "n"] == 1234
    assert frame.loc[1, ["size_mm", "n"]].isna().all()


def test_no_spreadsheet_runs_a_cell_as_a_formula():
    written = table_csv(Table("t", "c", (Column("of", "of"),), ((text_cell('=HYPERLINK("x")'),),))).decode()
    assert written.splitlines()[1].startswith("\"'=HYPERLINK")


def test_every_table_of_a_dossier_can_be_read(content):
    for table in content.tables():
        frame = read(table)
        assert len(frame) == len(table.rows)
        assert frame.columns.is_unique


def test_the_matrix_holds_the_counts_of_the_evaluation(content, source):
    matrix = source.evaluation.held_out.matrix
    table = next(one for one in content.tables() if one.name == "matrix_held_out")
    frame = read(table).set_index("truth")
    assert frame[list(matrix.columns)].to_numpy().tolist() == [list(row) for row in matrix.counts]
