"""Why input is rejected, one code a check, each with what to do; and the milder notes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType

__all__ = ["WARNINGS", "WHAT_TO_DO", "InputRejected", "Note", "NoteCode", "ReasonCode"]


class ReasonCode(StrEnum):
    """Why a file, seam or row was rejected."""

    # The file.
    UNREADABLE_FILE = "unreadable_file"
    EMPTY = "empty"
    FILE_TOO_LARGE = "file_too_large"
    LINE_TOO_LONG = "line_too_long"
    BINARY_CONTENT = "binary_content"
    WRONG_ENCODING = "wrong_encoding"
    TRUNCATED = "truncated"
    UNREADABLE_PARQUET = "unreadable_parquet"
    # The columns.
    MISSING_COLUMN = "missing_column"
    EXTRA_COLUMN = "extra_column"
    DUPLICATE_COLUMN = "duplicate_column"
    FIELD_COUNT = "field_count"
    DECIMAL_COMMA = "decimal_comma"
    NON_NUMERIC = "non_numeric"
    LENGTH_MISMATCH = "length_mismatch"
    # The samples.
    NOT_FINITE = "not_finite"
    NEGATIVE_AMPLITUDE = "negative_amplitude"
    ABOVE_FULL_SCALE = "above_full_scale"
    TOO_FEW_SAMPLES = "too_few_samples"
    DUPLICATE_POSITION = "duplicate_position"
    NON_MONOTONE_POSITION = "non_monotone_position"
    IRREGULAR_PITCH = "irregular_pitch"
    # The metadata.
    MISSING_METADATA = "missing_metadata"
    BAD_METADATA = "bad_metadata"
    FILE_NAME_MISMATCH = "file_name_mismatch"
    UNKNOWN_RECIPE = "unknown_recipe"
    SEAM_ID_CONFLICT = "seam_id_conflict"
    # The section table.
    UNKNOWN_SEAM = "unknown_seam"
    BEYOND_SEAM = "beyond_seam"
    UNKNOWN_LABEL = "unknown_label"
    BAD_VALUE = "bad_value"
    SECTION_ID_CONFLICT = "section_id_conflict"
    # The readings of several examiners.
    UNKNOWN_SECTION = "unknown_section"
    READ_ALREADY = "read_already"


WHAT_TO_DO: Mapping[ReasonCode, str] = MappingProxyType(
    {
        ReasonCode.UNREADABLE_FILE: "check the permissions and the disk, then ingest it again",
        ReasonCode.EMPTY: "export it again",
        ReasonCode.FILE_TOO_LARGE: "export one seam a file, or use Parquet for many",
        ReasonCode.LINE_TOO_LONG: "check that this is a trace file with one sample a line",
        ReasonCode.BINARY_CONTENT: "export the trace as text or Parquet",
        ReasonCode.WRONG_ENCODING: "state the file's encoding in the input profile ([file] encoding)",
        ReasonCode.TRUNCATED: "copy or export the file again, it was cut off",
        ReasonCode.UNREADABLE_PARQUET: "export the file again",
        ReasonCode.MISSING_COLUMN: "mend the column name, the delimiter or the input profile",
        ReasonCode.EXTRA_COLUMN: "name it under [columns] ignored, or as a channel, in the input profile",
        ReasonCode.DUPLICATE_COLUMN: "give every column its own name",
        ReasonCode.FIELD_COUNT: "mend the line named, or the delimiter in the input profile",
        ReasonCode.DECIMAL_COMMA: 'set [file] decimal = "," and the right delimiter in the input profile',
        ReasonCode.NON_NUMERIC: "mend the value named",
        ReasonCode.LENGTH_MISMATCH: "export the seam again with one value a sample on every channel",
        ReasonCode.NOT_FINITE: "export the seam again without gaps",
        ReasonCode.NEGATIVE_AMPLITUDE: "check the amplitude unit in the input profile; decibels are negative",
        ReasonCode.ABOVE_FULL_SCALE: "check the amplitude unit in the input profile",
        ReasonCode.TOO_FEW_SAMPLES: "export the whole seam",
        ReasonCode.DUPLICATE_POSITION: "export the seam again, or remove the double line",
        ReasonCode.NON_MONOTONE_POSITION: "export the seam again in the order of travel",
        ReasonCode.IRREGULAR_PITCH: "check the encoder; samples are missing or the positions jump",
        ReasonCode.MISSING_METADATA: "add it to the header lines, the file name or the input profile",
        ReasonCode.BAD_METADATA: "mend the value, or say how to read it in the input profile",
        ReasonCode.FILE_NAME_MISMATCH: "rename the file, or mend [file_name] pattern in the input profile",
        ReasonCode.UNKNOWN_RECIPE: "add the recipe to limits.toml, then ingest again",
        ReasonCode.SEAM_ID_CONFLICT: "say which holds: seamtell conflict keep SEAM_ID stored|incoming",
        ReasonCode.UNKNOWN_SEAM: "ingest the seam first, or mend the seam id",
        ReasonCode.BEYOND_SEAM: "mend the position",
        ReasonCode.UNKNOWN_LABEL: "use a label of the list",
        ReasonCode.BAD_VALUE: "mend the value",
        ReasonCode.SECTION_ID_CONFLICT: "give the section another id, or mend the row",
        ReasonCode.UNKNOWN_SECTION: "add the section first, or mend the section id",
        ReasonCode.READ_ALREADY: "the first reading stays; take the row out of the table",
    }
)
"""One line of advice for every code."""


class NoteCode(StrEnum):
    """What was done to, or looks odd about, a seam that was taken in."""

    TURNED_ROUND = "turned_round"
    RESAMPLED = "resampled"
    SATURATED = "saturated"
    ROUNDED_TO_ZERO = "rounded_to_zero"
    COLUMN_IGNORED = "column_ignored"
    NO_FINAL_NEWLINE = "no_final_newline"
    LOOKS_LIKE_FRACTION = "looks_like_fraction"
    CHANNELS_LOOK_SWAPPED = "channels_look_swapped"


WARNINGS = frozenset(
    {NoteCode.LOOKS_LIKE_FRACTION, NoteCode.CHANNELS_LOOK_SWAPPED, NoteCode.NO_FINAL_NEWLINE}
)
"""Notes that a person should look at."""


@dataclass(frozen=True)
class Note:
    """One remark on one seam."""

    code: NoteCode
    message: str


class InputRejected(Exception):
    """A check failed; carried to the table of rejections, never shown as a traceback.

    Parameters
    ----------
    code : ReasonCode
    message : str
        What was got and what was expected.
    row : int, optional
        Line or table row concerned; 0 for the whole file or seam.
    do : str, optional
        Advice where `WHAT_TO_DO` can be bettered.
    """

    def __init__(self, code: ReasonCode, message: str, *, row: int = 0, do: str = "") -> None:
        self.code = code
        self.message = message
        self.row = row
        self.do = do or WHAT_TO_DO[code]
        super().__init__(f"{code}: {message}")
