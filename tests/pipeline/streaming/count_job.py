"""A job that counts rows, and a unit of it that is filled and finished."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pyarrow as pa

from seamtell.pipeline.store.row_groups import SeamRows
from seamtell.pipeline.streaming.job import BatchResult, Sums, UnitRecord
from seamtell.pipeline.streaming.target import Target

SCHEMA = pa.schema([("row", pa.int64())])


class Count(Sums):
    rows: int = 0

    def plus(self, other: Count) -> Count:
        return Count(rows=self.rows + other.rows)


class CountJob:
    inputs: dict[str, Any] = {}  # noqa: RUF012

    @property
    def tables(self) -> Mapping[str, pa.Schema]:
        return {"rows.parquet": SCHEMA}

    @property
    def sums(self) -> type[Count]:
        return Count

    def work(self, rows: SeamRows) -> BatchResult[Count]:
        raise NotImplementedError


def fill(unfinished: Target, number: int, *rows: int) -> None:
    with unfinished.unit(number) as (part,):
        part.write(pa.table({"row": rows}, SCHEMA))
    unfinished.finish(UnitRecord[Count](number=number, content_sha256="", sums=Count(rows=len(rows))))
