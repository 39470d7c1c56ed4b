"""Whatever the bytes are, a reader gives seams or a rejection, never another exception."""

from __future__ import annotations

import contextlib
import io
import tempfile
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from hypothesis import example, given, settings
from hypothesis import strategies as st

from seamtell.pipeline.ingest.checks import to_trace
from seamtell.pipeline.ingest.profile import Profile
from seamtell.pipeline.ingest.readers import read_seams
from seamtell.pipeline.ingest.reasons import InputRejected
from seamtell.pipeline.limits_file import Limits

LIMITS = Limits(Path("limits.toml"), "", {})
TEXT = (
    "# seam_id: S1\n# welded_at: 2026-03-02T10:00:00Z\n# line: L1\n# recipe: R1\n"
    "position_mm,specular,scatter\n"
    + "".join(f"{0.25 * i:.2f},{7 + i % 3:.3f},0.{i % 10}\n" for i in range(20))
).encode()
PIECES = [
    b"\n",
    b",",
    b";",
    b"\x00",
    b"\xff",
    b'"',
    b"#",
    b"-",
    b"\r",
    b"\xe2\x80\xa8",
    b":",
    b" ",
    b"\t",
]


def _parquet() -> bytes:
    buffer = io.BytesIO()
    table = pa.table(
        {
            "seam_id": ["S1", "S2"],
            "welded_at": ["2026-03-02T10:00:00Z"] * 2,
            "line": ["L1"] * 2,
            "recipe": ["R1"] * 2,
            "start_mm": [0.0, 0.0],
            "pitch_mm": [0.25, 0.25],
            "specular": [np.full(20, 7.0)] * 2,
            "scatter": [np.full(20, 0.5)] * 2,
        }
    )
    pq.write_table(table, buffer, compression="none")
    return buffer.getvalue()


PARQUET = _parquet()


def read_all(data: bytes, suffix: str, profile: Profile) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"x{suffix}"
        path.write_bytes(data)
        for item in read_seams(path, profile):
            if not isinstance(item.outcome, InputRejected):
                with contextlib.suppress(InputRejected):
                    to_trace(item.outcome, profile, LIMITS)


@st.composite
def damaged(draw, whole: bytes) -> bytes:
    data = bytearray(whole)
    for _ in range(draw(st.integers(1, 4))):
        at = draw(st.integers(0, len(data)))
        kind = draw(st.sampled_from(["insert", "cut", "flip", "end"]))
        if kind == "insert":
            data[at:at] = draw(st.sampled_from(PIECES))
        elif kind == "cut":
            del data[at : at + draw(st.integers(1, 30))]
        elif kind == "end":
            del data[at:]
        elif at < len(data):
            data[at] = draw(st.integers(0, 255))
    return bytes(data)


@settings(deadline=None, max_examples=100)
@given(damaged(TEXT), st.sampled_from([",", ";", " ", "\t"]))
def test_damaged_text_is_read_or_rejected(data, delimiter):
    read_all(data, ".csv", Profile.model_validate({"file": {"delimiter": delimiter}}))


@settings(deadline=None, max_examples=100)
@given(st.binary(max_size=300), st.sampled_from(["utf-8", "cp1252", "utf-16"]))
def test_any_bytes_are_read_or_rejected(data, encoding):
    read_all(data, ".csv", Profile.model_validate({"file": {"encoding": encoding}}))


@settings(deadline=None, max_examples=100)
@given(damaged(PARQUET))
@example(PARQUET.replace(b"start_mm", b"\x80tart_mm"))  # a column name that is no text
def test_damaged_parquet_is_read_or_rejected(data):
    read_all(data, ".parquet", Profile())
