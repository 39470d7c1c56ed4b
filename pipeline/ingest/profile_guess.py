"""A first input profile from one file: what could be inferred, and a comment at what could not.

Only ``seamtell profile guess`` comes here; an ingest never guesses.
"""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from seamtell.features.contracts import CHANNELS
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.ingest.csv_text import without_quotes
from seamtell.pipeline.ingest.discover import require_file
from seamtell.pipeline.ingest.profile import METADATA_KEYS, REQUIRED_METADATA, FileTable
from seamtell.pipeline.ingest.profile_words import find_word, position_unit, time_format
from seamtell.pipeline.ingest.reasons import InputRejected
from seamtell.pipeline.ingest.text_shape import TextShape, find_shape
from seamtell.pipeline.store.damage import PARQUET_DAMAGE

__all__ = ["GuessedProfile", "guess_profile"]


@dataclass(frozen=True)
class GuessedProfile:
    """The text of a profile, and what a person must look at.

    Parameters
    ----------
    text : str
        A TOML file that `parse_profile` takes.
    open_points : tuple of str
    """

    text: str
    open_points: tuple[str, ...]


@dataclass
class _Draft:
    """Lines of the profile as they come, with the open points noted at the place they concern."""

    lines: list[str] = field(default_factory=list)
    open_points: list[str] = field(default_factory=list)

    def table(self, name: str) -> None:
        self.lines += ["", f"[{name}]"]

    def put(self, key: str, value: str | float | bool | list[str]) -> None:
        self.lines.append(f"{key} = {json.dumps(value, ensure_ascii=False)}")

    def ask(self, point: str) -> None:
        self.lines.append(f"# CHECK: {point}")
        self.open_points.append(point)


def guess_profile(path: Path) -> GuessedProfile:
    """Write a first profile for files such as `path`.

    Raises
    ------
    BadInput
        No such file, or nothing in it that looks like a trace.
    """
    require_file(path)
    draft = _Draft()
    draft.lines += ["# First input profile, inferred from one file.", "schema_version = 1"]
    draft.put("description", f"inferred from {''.join(c for c in path.name if c.isprintable())[:100]}")
    try:
        if path.suffix.lower() == ".parquet":
            _guess_parquet(path, draft)
        else:
            _guess_text(find_shape(path), path, draft)
    except InputRejected as problem:
        raise BadInput(problem.message, where=str(path), do=problem.do) from None
    return GuessedProfile("\n".join(draft.lines) + "\n", tuple(draft.open_points))


def _guess_text(shape: TextShape, path: Path, draft: _Draft) -> None:
    draft.table("file")
    if shape.encoding == "cp1252":
        draft.ask("encoding: not UTF-8, taken for the western European code page")
    draft.put("encoding", shape.encoding)
    draft.put("delimiter", shape.delimiter)
    draft.put("decimal", shape.decimal)
    draft.put("header_prefix", shape.header_prefix)
    if not shape.header_prefix:
        draft.put("header_lines", len(shape.header))
    pattern, pairs = _header_pairs(shape)
    draft.put("header_pattern", pattern)
    draft.put("column_names", bool(shape.names))
    draft.put("rows_after_names", shape.rows_after_names)
    names = shape.names or tuple(str(i + 1) for i in range(len(shape.values[0])))
    _put_metadata(pairs, path, draft)
    values = np.array(shape.values)
    _put_columns(names, {name: values[:, i] for i, name in enumerate(names)}, draft)


def _header_pairs(shape: TextShape) -> tuple[str, dict[str, str]]:
    """The pattern that reads most header lines, and what it reads."""
    separator = r"\s+" if shape.delimiter == " " else re.escape(shape.delimiter)
    candidates = (
        FileTable().header_pattern,
        rf"^[\W_]*(?P<key>[^{separator}]+?)\s*{separator}\s*(?P<value>.*)$",
    )
    lines = [without_quotes(line.strip(), shape.delimiter) for line in shape.header]
    found = []
    for pattern in candidates:
        matches = [re.match(pattern, line) for line in lines]
        pairs = {
            match["key"].strip(): match["value"].strip(' "' + shape.delimiter) for match in matches if match
        }
        found.append((pattern, pairs))
    return max(found, key=lambda item: len(item[1]))


def _put_metadata(pairs: dict[str, str], path: Path, draft: _Draft) -> None:
    keys = {ours: find_word(ours, list(pairs)) for ours in METADATA_KEYS}
    draft.table("metadata.keys")
    if keys["welded_at"] is None:
        keys["welded_at"] = next((key for key, value in pairs.items() if _is_time(value)), None)
        if keys["welded_at"] is not None:
            draft.ask("welded_at: the only header value that reads as a time")
    used: set[str] = set()
    for ours, shop in keys.items():
        if shop is not None and shop not in used:
            draft.put(ours, shop)
            used.add(shop)
    missing = [ours for ours in REQUIRED_METADATA if keys[ours] is None]
    left = [key for key in pairs if key not in used]
    if missing and left:
        draft.ask(f"header keys not recognised: {', '.join(left)[:200]}")
    draft.table("file_name")
    if "seam_id" in missing:
        draft.ask("seam_id: no header key recognised, taken from the whole file name")
        draft.put("pattern", rf"^(?P<seam_id>.+){re.escape(path.suffix)}$")
        missing.remove("seam_id")
    else:
        draft.put("pattern", "")
    _put_time(pairs.get(keys["welded_at"] or ""), draft)
    draft.table("constants")
    for ours in missing:
        draft.ask(f"{ours}: not found; state it here, or where the file name or header has it")
        draft.lines.append(f'# {ours} = ""')


def _is_time(text: str) -> bool:
    # A bare number may be read as a day; nobody writes the time of welding so.
    return not text.isdigit() and time_format(text)[0] is not None


def _put_time(text: str | None, draft: _Draft) -> None:
    draft.table("time")
    form, ambiguous = time_format(text) if text else ("iso", False)
    if form is None:
        draft.ask(f"format: '{text}' fits none of the usual ones")
    elif ambiguous:
        draft.ask(f"format: '{text}' may also be read with day and month exchanged")
    draft.put("format", form or "iso")
    if text and not re.search(r"(Z|[-+]\d\d:?\d\d)$", text):
        draft.ask("zone: the file states none")
    draft.put("zone", "UTC")


def _put_columns(names: Sequence[str], values: dict[str, np.ndarray], draft: _Draft) -> None:
    """Position, channels and what is left, from names first and levels second."""
    position = find_word("position", names) or _rising(names, values)
    channels = {channel: find_word(channel, names) for channel in CHANNELS}
    _put_position(position, draft)
    rest = [name for name in names if name != position and name not in channels.values()]
    doubt = _by_level(channels, rest, values)
    draft.table("channels")
    if doubt:
        draft.ask(doubt)
    for channel, name in channels.items():
        draft.put(channel, name or channel)
    left = [name for name in rest if name not in channels.values()]
    _put_amplitude([values[name] for name in channels.values() if name in values], draft)
    draft.table("columns")
    if left:
        draft.ask("columns that are neither position nor one of the two channels are left out")
    draft.put("ignored", left)


def _rising(names: Sequence[str], values: dict[str, np.ndarray]) -> str | None:
    return next((name for name in names if len(values[name]) > 1 and (np.diff(values[name]) > 0).all()), None)


def _put_position(position: str | None, draft: _Draft) -> None:
    draft.table("position")
    if position is None:
        draft.ask("no column of positions found; state the distance of the samples")
        draft.put("column", "")
        draft.put("pitch_mm", 1.0)
        return
    draft.put("column", position)
    if re.search(r"count|enc|puls", position, re.IGNORECASE):
        draft.ask("counts_per_mm: the column looks like encoder counts")
        draft.put("counts_per_mm", 1.0)
        return
    unit = position_unit(position)
    if unit is None:
        draft.ask("unit: the column name states none")
    draft.put("unit", unit.value if unit else "mm")


def _by_level(channels: dict[str, str | None], rest: list[str], values: dict[str, np.ndarray]) -> str:
    """Fill unrecognised channels from the columns left; returns what a person must check."""
    open_channels = [channel for channel, name in channels.items() if name is None]
    if not open_channels:
        return ""
    if len(rest) == len(open_channels) == 2:
        by_level = sorted(rest, key=lambda name: -float(np.median(values[name])) if name in values else 0.0)
        channels.update(zip(CHANNELS, by_level, strict=True))
        return "channels told by level only: the higher one taken for specular"
    if len(rest) == len(open_channels) == 1:
        channels[open_channels[0]] = rest[0]
        return f"{open_channels[0]}: the only column left"
    return f"no column recognised for {' and '.join(open_channels)}; the file has: {', '.join(rest)[:200]}"


def _put_amplitude(columns: list[np.ndarray], draft: _Draft) -> None:
    draft.table("amplitude")
    if not columns:
        draft.put("unit", "percent")
        return
    together = np.concatenate(columns)
    if (together < -0.5).any():
        draft.ask("unit: negative values, taken for decibels; state the level of 0 dB")
        draft.put("unit", "decibel")
        draft.put("zero_db_pct", 100.0)
    elif float(together.max()) <= 1.0:
        draft.ask("unit: no value above 1, taken for a fraction of full screen")
        draft.put("unit", "fraction")
    else:
        draft.put("unit", "percent")


def _guess_parquet(path: Path, draft: _Draft) -> None:
    try:
        _guess_rows(path, draft)
    except PARQUET_DAMAGE as problem:
        said = str(problem).splitlines()[0][:120].rstrip(".")
        raise BadInput(f"no Parquet file: {said}", where=str(path), do="export the file again") from None


def _guess_rows(path: Path, draft: _Draft) -> None:
    with pq.ParquetFile(path) as file:
        first = next(file.iter_batches(batch_size=256), None)
        schema = file.schema_arrow
    lists = [f.name for f in schema if pa.types.is_list(f.type) or pa.types.is_large_list(f.type)]
    texts = [f.name for f in schema if not pa.types.is_nested(f.type)]
    values = _parquet_values(first, lists, texts)
    single = {} if lists else {key.decode(): value.decode() for key, value in (schema.metadata or {}).items()}
    example = first.slice(0, 1).select(texts).to_pylist() if first is not None and first.num_rows else [{}]
    facts = {name: str(value) for name, value in example[0].items() if lists or name not in values}
    pairs = {
        **{key: value for key, value in single.items() if key not in ("ARROW:schema", "pandas")},
        **facts,
    }
    grid = {"start_mm", "pitch_mm"}
    _put_metadata({key: value for key, value in pairs.items() if key not in grid}, path, draft)
    if lists and find_word("position", lists) is None and grid <= set(texts):
        # Start and pitch columns stand in for a list of positions.
        values = {"position_mm": np.arange(2.0), **values}
    _put_columns(list(values), values, draft)


def _parquet_values(
    batch: pa.RecordBatch | None, lists: list[str], texts: list[str]
) -> dict[str, np.ndarray]:
    """First samples of each numeric column."""
    if batch is None or not batch.num_rows:
        raise BadInput("no rows in the file", do="choose another file")
    if lists:
        return {name: _float(batch.column(name)[0].values) for name in lists}
    numeric = [name for name in texts if pa.types.is_floating(batch.schema.field(name).type)]
    return {name: _float(batch.column(name)) for name in numeric}


def _float(values: pa.Array) -> np.ndarray:
    array: np.ndarray = values.cast(pa.float64()).to_numpy(zero_copy_only=False)
    return array
