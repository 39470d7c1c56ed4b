"""A table as a link inside the page, so that the page stays one file."""

from __future__ import annotations

import base64
from typing import TYPE_CHECKING

from seamtell.pipeline.files.export_text import spreadsheet_safe

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["csv_data_uri"]


def _cell(value: object) -> object:
    return spreadsheet_safe(value) if isinstance(value, str) else value


def csv_data_uri(table: pd.DataFrame) -> str:
    """The table as a ``data:`` address of a UTF-8 CSV file; its texts are safe to open in a spreadsheet."""
    text = table.map(_cell).to_csv(index=False, lineterminator="\n")
    return "data:text/csv;charset=utf-8;base64," + base64.b64encode(text.encode("utf-8")).decode("ascii")
