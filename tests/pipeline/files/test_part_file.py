"""Part files: whole row groups, and bytes that do not depend on the pieces that rows came in."""

from __future__ import annotations

import io
from collections.abc import Sequence

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seamtell.pipeline.files.part_file import ROW_GROUP_ROWS, PartFile

ROWS = 2 * ROW_GROUP_ROWS + 5_000
_RNG = np.random.default_rng(3)
TABLE = pa.table(
    {
        "seam_id": [f"S{i % 977}" for i in range(ROWS)],
        "height_pct": pa.array(_RNG.random(ROWS), mask=_RNG.random(ROWS) < 0.1),
        "label": pa.array(_RNG.choice(["pinhole", "mismatch", ""], ROWS)),
    }
)


def written(cuts: Sequence[int]) -> bytes:
    stream = io.BytesIO()
    with PartFile(stream, TABLE.schema) as part:
        for first, after in zip([0, *cuts], [*cuts, ROWS], strict=True):
            part.write(TABLE.slice(first, after - first))
        part.finish()
    return stream.getvalue()


WHOLE = written([])


@settings(max_examples=15, deadline=None)
@given(st.lists(st.integers(0, ROWS), max_size=40).map(sorted))
def test_the_bytes_do_not_depend_on_how_rows_were_cut_into_pieces(cuts):
    assert written(cuts) == WHOLE


def test_rows_come_back_as_they_were_given_in_row_groups_of_one_size():
    file = pq.ParquetFile(io.BytesIO(WHOLE))
    assert file.read().equals(TABLE)
    sizes = [file.metadata.row_group(i).num_rows for i in range(file.num_row_groups)]
    assert sizes == [ROW_GROUP_ROWS, ROW_GROUP_ROWS, 5_000]


def test_a_part_without_rows_has_all_columns():
    stream = io.BytesIO()
    with PartFile(stream, TABLE.schema) as part:
        part.write(TABLE.slice(0, 0))
        part.finish()
    assert pq.read_table(stream).equals(TABLE.slice(0, 0))


def test_the_first_error_is_the_one_that_is_told():
    class Full(io.BytesIO):
        def write(self, data) -> int:
            if self.tell() > 1_000:
                raise OSError(28, "No space left on device")
            return super().write(data)

    with pytest.raises(OSError, match="No space left"), PartFile(Full(), TABLE.schema) as part:
        part.write(TABLE)
