"""What reading a damaged Parquet file raises."""

from __future__ import annotations

import pyarrow as pa

__all__ = ["PARQUET_DAMAGE"]

PARQUET_DAMAGE = (OSError, pa.ArrowException, UnicodeDecodeError)
"""The last where the name of a column, or a text in it, is no text any more."""
