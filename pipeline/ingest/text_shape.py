"""The shape of an unknown text file: marks, header lines, names and samples, found by looking."""

from __future__ import annotations

import codecs
import re
from dataclasses import dataclass
from pathlib import Path

from seamtell.pipeline.ingest.csv_text import read_bounded
from seamtell.pipeline.ingest.reasons import InputRejected, ReasonCode

__all__ = ["TextShape", "find_shape"]

_LOOKED_AT_LINES = 400
_DELIMITERS = (";", "\t", "|", ",", " ")
_NUMBER = {
    ".": re.compile(r"\s*[-+]?(\d+\.?\d*|\.\d+)([eE][-+]?\d+)?\s*"),
    ",": re.compile(r"\s*[-+]?(\d+,?\d*|,\d+)([eE][-+]?\d+)?\s*"),
}
_UNITS = re.compile(r"[\[(]?\s*(mm|cm|m|in|inch|%|% ?fsh|db|counts|-|)\s*[\])]?", re.IGNORECASE)
_PREFIX = re.compile(r"(#|%|//|;|\*|!|--)")


@dataclass(frozen=True)
class TextShape:
    """How a text file is laid out.

    Parameters
    ----------
    encoding, delimiter, decimal : str
    header : tuple of str
        Lines before the column names.
    header_prefix : str
        What every header line begins with, empty when they have nothing in common.
    names : tuple of str
        Column names; empty when there are none.
    rows_after_names : int
    values : tuple of tuple of float
        The first samples.
    """

    encoding: str
    delimiter: str
    decimal: str
    header: tuple[str, ...]
    header_prefix: str
    names: tuple[str, ...]
    rows_after_names: int
    values: tuple[tuple[float, ...], ...]


def find_shape(path: Path) -> TextShape:
    """Look at the first lines of a text file.

    Raises
    ------
    InputRejected
        Not text, or no run of lines with numbers in it.
    """
    encoding, text = _decoded(read_bounded(path))
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")[:_LOOKED_AT_LINES]
    runs = [_longest_run(lines, delimiter, decimal) for delimiter in _DELIMITERS for decimal in ".,"]
    start, length, width, delimiter, decimal = max(
        runs, key=lambda run: (run[1] * min(run[2], 3), -len(run[3]))
    )
    if length < 2 or width < 2:
        raise InputRejected(
            ReasonCode.NON_NUMERIC,
            "no lines with two or more numbers in the first lines of the file",
            do="write the profile by hand; profiles/default.toml shows every key",
        )
    above = lines[:start]
    while above and not above[-1].strip():
        above.pop()
    names, rows_after = _names(above, delimiter, width)
    header = above[: len(above) - rows_after - (1 if names else 0)]
    while header and not header[-1].strip():
        header.pop()
    values = tuple(
        tuple(float(field.replace(",", ".")) for field in _split(line, delimiter)[:width])
        for line in lines[start : start + length]
    )
    return TextShape(
        encoding, delimiter, decimal, tuple(header), _common_prefix(header), names, rows_after, values
    )


def _decoded(data: bytes) -> tuple[str, str]:
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16", data.decode("utf-16", errors="replace")
    if b"\0" in data:
        raise InputRejected(ReasonCode.BINARY_CONTENT, "not a text file: it holds bytes that no text has")
    try:
        return "utf-8", data.decode("utf-8-sig")
    except UnicodeDecodeError:
        # Every byte is a character of the western European code page, so this is a guess and marked as one.
        return "cp1252", data.decode("cp1252", errors="replace")


def _split(line: str, delimiter: str) -> list[str]:
    fields = line.split() if delimiter == " " else line.split(delimiter)
    fields = [field.strip().strip('"') for field in fields]
    while fields and not fields[-1]:
        fields.pop()
    return fields


def _longest_run(lines: list[str], delimiter: str, decimal: str) -> tuple[int, int, int, str, str]:
    """Start, length and width of the longest run of lines with numbers only, all of one width."""
    best, begin, width = (0, 0, 0), 0, 0
    for i, line in enumerate(lines):
        fields = [] if delimiter == decimal else _split(line, delimiter)
        numbers = len(fields) if all(_NUMBER[decimal].fullmatch(field) for field in fields) else 0
        if numbers != width:
            begin, width = i, numbers
        if width > 1 and i - begin + 1 > best[1]:
            best = (begin, i - begin + 1, width)
    return (*best, delimiter, decimal)


def _names(above: list[str], delimiter: str, width: int) -> tuple[tuple[str, ...], int]:
    """Column names above the samples, and how many lines of units follow them."""
    if not above:
        return (), 0
    last = _split(above[-1], delimiter)
    if len(above) > 1 and len(last) <= width and all(_UNITS.fullmatch(field) for field in last):
        before = _split(above[-2], delimiter)
        if len(before) == width:
            return tuple(before), 1
    return (tuple(last), 0) if len(last) == width else ((), 0)


def _common_prefix(header: list[str]) -> str:
    prefixes = {match[0] if (match := _PREFIX.match(line.strip())) else "" for line in header if line.strip()}
    return prefixes.pop() if len(prefixes) == 1 else ""
