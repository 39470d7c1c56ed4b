"""The trace files of the invented shop: untidy ones with the input profile that reads them, and tidy ones.

Line L1 writes one text file a seam: semicolons, decimal commas, Latin-1, encoder counts
instead of millimetres, fractions instead of percent, names of its own, and the seam's
number nowhere but in the file name. Runs of the reference blank are in the contract layout.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
import pyarrow as pa

from seamtell.features.contracts import CHANNELS, Channel, SeamTrace

__all__ = [
    "CONTRACT_SCHEMA",
    "COUNTS_PER_MM",
    "PROFILE_TEXT",
    "contract_file_bytes",
    "contract_table",
    "text_file_bytes",
    "text_file_name",
]

COUNTS_PER_MM = 20

CONTRACT_SCHEMA = pa.schema(
    [
        ("seam_id", pa.string()),
        ("welded_at", pa.timestamp("us", tz="UTC")),
        *((name, pa.string()) for name in ("line", "recipe", "coil", "shift")),
        *((name, pa.float64()) for name in ("thickness_a_mm", "thickness_b_mm", "speed_m_per_min")),
        ("start_mm", pa.float64()),
        ("pitch_mm", pa.float64()),
        *((name, pa.list_(pa.float32())) for name in CHANNELS),
    ]
)
"""Columns of a Parquet file that ingest reads without a profile."""

PROFILE_TEXT = r"""# Input profile: text files of line L1 of Marram Bay Carriage Works (an invented shop).
schema_version = 1
description = "Marram Bay, line L1: semicolons, decimal commas, encoder counts, fractions"

[file]
encoding = "latin-1"
delimiter = ";"
decimal = ","
header_prefix = ""
header_lines = 10

[metadata.keys]
recipe = "Job"
coil = "Coil no"
shift = "Crew"
welded_at = "Welded"
thickness_a_mm = "Blech A [mm]"
thickness_b_mm = "Blech B [mm]"
speed_m_per_min = "Speed [m/min]"
n_samples = "Samples"

[file_name]
pattern = '^(?P<line>L\d+)_(?P<seam_id>MB-\d+)_\d{8}\.csv$'

[time]
format = "%d.%m.%Y %H:%M:%S"
zone = "UTC"

[position]
column = "Enc"
counts_per_mm = 20.0

[amplitude]
unit = "fraction"

[channels]
specular = "A0 spec"
scatter = "A1 scat"
"""


def text_file_name(trace: SeamTrace) -> str:
    """Name of a seam's file, for example ``L1_MB-000012_20250303.csv``."""
    return f"{trace.line}_{trace.seam_id}_{trace.welded_at:%Y%m%d}.csv"


def text_file_bytes(trace: SeamTrace) -> bytes:
    """Write a seam the way line L1 does; amplitudes to 0.01 % FSH."""
    header = (
        "Marram Bay Carriage Works - Prüfplatz L1 § 7",
        f"Job : {trace.recipe}",
        f"Coil no : {trace.coil}",
        f"Crew : {trace.shift}",
        f"Welded : {trace.welded_at:%d.%m.%Y %H:%M:%S}",
        f"Blech A [mm] : {_comma(trace.thickness_a_mm)}",
        f"Blech B [mm] : {_comma(trace.thickness_b_mm)}",
        f"Speed [m/min] : {_comma(trace.speed_m_per_min)}",
        f"Samples : {trace.n_samples}",
        "Tisch : Süd",
        "Enc;A0 spec;A1 scat",
    )
    counts = np.round(trace.positions_mm() * COUNTS_PER_MM).astype(np.int64).tolist()
    texts = _fraction_texts()
    columns = [
        [texts[step] for step in np.round(trace.amplitudes_pct[channel] * 100).astype(np.int64).tolist()]
        for channel in Channel
    ]
    rows = [f"{count};{a};{b}" for count, a, b in zip(counts, *columns, strict=True)]
    return ("\r\n".join((*header, *rows)) + "\r\n").encode("latin-1")


def contract_table(traces: Sequence[SeamTrace]) -> pa.Table:
    """Seams in the contract layout of a Parquet file, see `CONTRACT_SCHEMA`."""
    columns = {
        field.name: [getattr(trace, field.name) for trace in traces]
        for field in CONTRACT_SCHEMA
        if field.name not in CHANNELS
    }
    lists = {name: [trace.amplitudes_pct[name] for trace in traces] for name in CHANNELS}
    return pa.table({**columns, **lists}, schema=CONTRACT_SCHEMA)


def contract_file_bytes(trace: SeamTrace) -> bytes:
    """Write a seam in the contract layout; amplitudes to 0.01 % FSH."""
    header = (
        f"# seam_id: {trace.seam_id}",
        f"# welded_at: {trace.welded_at:%Y-%m-%dT%H:%M:%SZ}",
        f"# line: {trace.line}",
        f"# recipe: {trace.recipe}",
        f"# thickness_a_mm: {trace.thickness_a_mm:g}",
        f"# thickness_b_mm: {trace.thickness_b_mm:g}",
        f"position_mm,{','.join(channel.value for channel in Channel)}",
    )
    columns = (trace.amplitudes_pct[channel] for channel in Channel)
    rows = [f"{x:.2f},{a:.2f},{b:.2f}" for x, a, b in zip(trace.positions_mm(), *columns, strict=True)]
    return ("\n".join((*header, *rows)) + "\n").encode("utf-8")


def _comma(value: float) -> str:
    return f"{value:.2f}".replace(".", ",")


@lru_cache(maxsize=1)
def _fraction_texts() -> tuple[str, ...]:
    """Text of every amplitude from 0 to 100 % in steps of 0.01 %."""
    return tuple(f"{step / 10000:.4f}".replace(".", ",") for step in range(10001))
