"""The bytes of a text file: bounded reading, encoding, and where header, names and samples lie."""

from __future__ import annotations

import codecs
import csv
import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from seamtell.pipeline.ingest.profile import Profile
from seamtell.pipeline.ingest.reasons import InputRejected, ReasonCode

__all__ = [
    "MAX_FILE_BYTES",
    "MAX_LINE_BYTES",
    "TextLayout",
    "lay_out",
    "read_bounded",
    "split_fields",
    "without_quotes",
]

MAX_FILE_BYTES = 64 << 20
"""A text file holds one seam; nothing longer than this is read."""
MAX_LINE_BYTES = 64 << 10
MAX_HEADER_LINE = 1000
"""Longer header lines are cut before a pattern sees them."""
_BYTE_ORDER_MARKS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
_CONTROL = np.array([b < 32 and b not in b"\t\n\r\f" for b in range(256)])


@dataclass(frozen=True)
class TextLayout:
    """A text file taken apart.

    Parameters
    ----------
    header : tuple of (str, str)
        Keys and values of the header lines.
    names : tuple of str
        Column names.
    body : bytes
        The lines of samples, in UTF-8, with line feeds.
    first_row : int
        Line number of the first line of `body`, from 1.
    ends_with_newline : bool
    """

    header: tuple[tuple[str, str], ...]
    names: tuple[str, ...]
    body: bytes
    first_row: int
    ends_with_newline: bool


def read_bounded(path: Path, limit: int = MAX_FILE_BYTES) -> bytes:
    """Read a text file, never more than `limit` bytes of it.

    Raises
    ------
    InputRejected
        Not readable, empty, a line beyond all bounds, or too large.
    """
    try:
        with path.open("rb") as stream:
            data = stream.read(limit + 1)
    except OSError as problem:
        raise InputRejected(ReasonCode.UNREADABLE_FILE, f"cannot be read: {problem.strerror}") from None
    if not data.strip():
        raise InputRejected(ReasonCode.EMPTY, "the file is empty")
    _check_lines(data)
    if len(data) > limit:
        raise InputRejected(
            ReasonCode.FILE_TOO_LARGE, f"more than {limit >> 20} MiB; a text file holds one seam"
        )
    return data


def _check_lines(data: bytes) -> None:
    ends = np.flatnonzero(np.frombuffer(data, dtype=np.uint8) == 10)
    bounds = np.concatenate(([-1], ends, [len(data)]))
    lengths = np.diff(bounds)
    longest = int(np.argmax(lengths))
    # Files with old line ends have one "line"; only a length no such trace can have is refused here.
    if lengths[longest] > MAX_LINE_BYTES and b"\r" not in data[:MAX_LINE_BYTES]:
        raise InputRejected(
            ReasonCode.LINE_TOO_LONG,
            f"a line of more than {MAX_LINE_BYTES >> 10} KiB",
            row=longest + 1,
        )


def lay_out(data: bytes, profile: Profile) -> TextLayout:
    """Find header lines, column names and samples.

    Raises
    ------
    InputRejected
        Binary content, another encoding, or no line of column names.
    """
    text_bytes = _as_utf8(data, profile)
    ends_with_newline = text_bytes.endswith(b"\n")
    header_lines, position, row = _header_lines(text_bytes, profile)
    for _ in range(profile.file.skip_rows):
        _, position = _line_at(text_bytes, position)
        row += 1
    position, row = _past_blank_lines(text_bytes, position, row)
    first, after = _line_at(text_bytes, position)
    fields = split_fields(first.decode("utf-8"), profile)
    if profile.file.column_names:
        names = _without_trailing_empty([name.strip().strip("\"'").strip() for name in fields])
        position, row = after, row + 1
        for _ in range(profile.file.rows_after_names):
            _, position = _line_at(text_bytes, position)
            row += 1
    else:
        names = [str(i + 1) for i in range(len(_without_trailing_empty(fields)))]
    header = tuple(pair for line in header_lines if (pair := _key_and_value(line, profile)) is not None)
    return TextLayout(header, tuple(names), text_bytes[position:], row, ends_with_newline)


def _header_lines(data: bytes, profile: Profile) -> tuple[list[bytes], int, int]:
    """Header lines, and position and number of the line after them; blank lines may stand between."""
    prefix = profile.file.header_prefix.encode("utf-8")
    lines: list[bytes] = []
    position, row = 0, 1
    while position < len(data):
        begin, number = (
            (position, row) if row <= profile.file.header_lines else _past_blank_lines(data, position, row)
        )
        line, after = _line_at(data, begin)
        if not (number <= profile.file.header_lines or (prefix and line.lstrip().startswith(prefix))):
            break
        lines.append(line)
        position, row = after, number + 1
    return lines, position, row


def _past_blank_lines(data: bytes, position: int, row: int) -> tuple[int, int]:
    while position < len(data):
        line, after = _line_at(data, position)
        if line.strip():
            break
        position, row = after, row + 1
    return position, row


def split_fields(line: str, profile: Profile) -> list[str]:
    """Fields of one line; quotes work as in any CSV file."""
    if profile.file.delimiter == " ":
        return line.split()
    return next(csv.reader([line], delimiter=profile.file.delimiter), [])


def _as_utf8(data: bytes, profile: Profile) -> bytes:
    """The same text in UTF-8 with line feeds only."""
    encoding = codecs.lookup(profile.file.encoding).name
    marked = next((name for mark, name in _BYTE_ORDER_MARKS if data.startswith(mark)), None)
    if marked and not encoding.startswith(marked):
        raise InputRejected(
            ReasonCode.WRONG_ENCODING,
            f"the file begins with the mark of {marked}, the profile says {encoding}",
        )
    if not encoding.startswith(("utf-16", "utf-32")):
        _check_not_binary(data)
    try:
        text = data.decode("utf-8-sig" if encoding == "utf-8" else encoding)
    except UnicodeError as problem:
        at = getattr(problem, "start", 0)
        raise InputRejected(
            ReasonCode.WRONG_ENCODING,
            f"not {profile.file.encoding} text: byte {at}",
            row=data.count(b"\n", 0, at) + 1,
        ) from None
    if "\r" in text:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    return text.encode("utf-8")


def _check_not_binary(data: bytes) -> None:
    sample = np.frombuffer(data[: 1 << 20], dtype=np.uint8)
    share = float(np.mean(_CONTROL[sample]))
    if b"\0" in data or share > 0.01:
        raise InputRejected(ReasonCode.BINARY_CONTENT, "not a text file: it holds bytes that no text has")


def _line_at(data: bytes, position: int) -> tuple[bytes, int]:
    end = data.find(b"\n", position)
    return (data[position:], len(data)) if end < 0 else (data[position:end], end + 1)


def _key_and_value(line: bytes, profile: Profile) -> tuple[str, str] | None:
    text = without_quotes(line.decode("utf-8").strip()[:MAX_HEADER_LINE], profile.file.delimiter)
    match = profile.header_regex.match(text)
    if match is None:
        return None
    value = (match["value"] or "").strip()
    # A spreadsheet writes a header line with the empty fields of its row, and quotes what holds a comma.
    value = re.sub(rf"[{re.escape(profile.file.delimiter)}\s]+$", "", value).strip('"')
    return (match["key"] or "").strip().strip('"'), value


def without_quotes(line: str, delimiter: str) -> str:
    """A header line as it was before a spreadsheet put every field of it in quotes.

    Examples
    --------
    >>> without_quotes('"Seam ID","E-1",""', ",")
    'Seam ID,E-1,'
    """
    if not line.startswith('"'):
        return line
    return delimiter.join(next(csv.reader([line], delimiter=delimiter), []))


def _without_trailing_empty(fields: list[str]) -> list[str]:
    while fields and not fields[-1]:
        fields = fields[:-1]
    return fields
