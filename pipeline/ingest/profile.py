"""The input profile: how one shop's own trace files map to the contract.

A profile is a TOML file in ``profiles/``; every key has the default of the
contract layout, and an unknown key is an error.
"""

from __future__ import annotations

import codecs
import re
import tomllib
from enum import StrEnum
from functools import cached_property
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator, model_validator

from seamtell.features.contracts import CHANNELS
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.versioned_toml import first_complaint

__all__ = [
    "CHANNEL_NAME",
    "METADATA_KEYS",
    "OPTIONAL_METADATA",
    "PROFILE_SCHEMA_VERSION",
    "REQUIRED_METADATA",
    "AmplitudeUnit",
    "OtherColumns",
    "PositionUnit",
    "Profile",
    "parse_profile",
]

PROFILE_SCHEMA_VERSION = 1
REQUIRED_METADATA = ("seam_id", "welded_at", "line", "recipe")
OPTIONAL_METADATA = (
    "coil",
    "shift",
    "thickness_a_mm",
    "thickness_b_mm",
    "speed_m_per_min",
    "n_samples",
)
METADATA_KEYS = REQUIRED_METADATA + OPTIONAL_METADATA
"""Our names of the metadata; ``n_samples`` is only compared, to notice a file that was cut off."""

_MAX_PATTERN = 500


class PositionUnit(StrEnum):
    """Unit of the position column."""

    MM = "mm"
    CM = "cm"
    M = "m"
    INCH = "in"

    @property
    def mm(self) -> float:
        """Length of one unit in mm."""
        return {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4}[self.value]


class AmplitudeUnit(StrEnum):
    """Unit of the channels."""

    PERCENT = "percent"
    FRACTION = "fraction"
    DECIBEL = "decibel"


class OtherColumns(StrEnum):
    """What becomes of a column that the profile does not name."""

    CHANNEL = "channel"
    IGNORE = "ignore"
    REJECT = "reject"


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class FileTable(_Table):
    """Layout of a text file."""

    encoding: str = "utf-8"
    delimiter: str = Field(default=",", min_length=1, max_length=1)
    decimal: str = Field(default=".", pattern=r"^[.,]$")
    header_prefix: str = "#"
    header_lines: int = Field(default=0, ge=0, le=1000)
    header_pattern: str = r"^[\W_]*(?P<key>[^:=]+?)\s*[:=]\s*(?P<value>.*)$"
    skip_rows: int = Field(default=0, ge=0, le=1000)
    column_names: bool = True
    rows_after_names: int = Field(default=0, ge=0, le=100)

    @field_validator("encoding")
    @classmethod
    def _known_encoding(cls, name: str) -> str:
        try:
            codec = codecs.lookup(name)
        except LookupError:
            raise ValueError(f"no text encoding '{name}'") from None
        if not getattr(codec, "_is_text_encoding", True):
            raise ValueError(f"'{name}' is no text encoding")
        return name

    @field_validator("header_pattern")
    @classmethod
    def _header_pattern(cls, pattern: str) -> str:
        groups = _compiled(pattern).groupindex
        if not {"key", "value"} <= set(groups):
            raise ValueError("needs the named groups (?P<key>…) and (?P<value>…)")
        return pattern

    @model_validator(mode="after")
    def _marks_differ(self) -> FileTable:
        if self.delimiter == self.decimal:
            raise ValueError("delimiter and decimal mark are the same character")
        if self.delimiter in '"\n\r\0' or self.delimiter.isalnum():
            raise ValueError("the delimiter cannot be a quote, a letter, a digit or a line end")
        return self


class MetadataTable(_Table):
    """Which of the shop's keys holds what; a key that is not listed has our name."""

    keep_others: bool = True
    keys: dict[str, str] = Field(default_factory=dict)


class FileNameTable(_Table):
    """Metadata in the file name."""

    pattern: str = ""

    @field_validator("pattern")
    @classmethod
    def _named_groups(cls, pattern: str) -> str:
        if pattern and not _compiled(pattern).groupindex:
            raise ValueError("needs at least one named group such as (?P<seam_id>…)")
        return pattern


class TimeTable(_Table):
    """How to read ``welded_at``."""

    format: str = "iso"
    zone: str = "UTC"

    @field_validator("zone")
    @classmethod
    def _known_zone(cls, name: str) -> str:
        try:
            ZoneInfo(name)
        except (ZoneInfoNotFoundError, ValueError, OSError):
            raise ValueError(f"no time zone '{name}'; names are such as Europe/Dublin or UTC") from None
        return name


class PositionTable(_Table):
    """Where along the seam each sample lies: a column, or a sample pitch alone."""

    column: str = "position_mm"
    unit: PositionUnit = PositionUnit.MM
    counts_per_mm: float | None = Field(default=None, gt=0)
    pitch_mm: float | None = Field(default=None, gt=0)
    start_mm: float = 0.0

    @model_validator(mode="after")
    def _one_way(self) -> PositionTable:
        if not self.column and self.pitch_mm is None:
            raise ValueError("needs column or pitch_mm")
        if self.counts_per_mm is not None and (not self.column or self.unit is not PositionUnit.MM):
            raise ValueError("counts_per_mm needs a column and no unit")
        return self


class AmplitudeTable(_Table):
    """Unit of the channels."""

    unit: AmplitudeUnit = AmplitudeUnit.PERCENT
    zero_db_pct: float = Field(default=100.0, gt=0)


class ColumnsTable(_Table):
    """Columns that are neither position nor a named channel."""

    ignored: tuple[str, ...] = ()
    others: OtherColumns = OtherColumns.CHANNEL


class ParquetTable(_Table):
    """Columns of a Parquet file with one seam a row that has no position list."""

    start_column: str = "start_mm"
    pitch_column: str = "pitch_mm"


class Profile(_Table):
    """All of an input profile."""

    schema_version: int = Field(default=PROFILE_SCHEMA_VERSION, ge=1, le=PROFILE_SCHEMA_VERSION)
    description: str = ""
    file: FileTable = FileTable()
    metadata: MetadataTable = MetadataTable()
    file_name: FileNameTable = FileNameTable()
    time: TimeTable = TimeTable()
    constants: dict[str, str] = Field(default_factory=dict)
    position: PositionTable = PositionTable()
    amplitude: AmplitudeTable = AmplitudeTable()
    channels: dict[str, str] = Field(default_factory=lambda: {name: name for name in CHANNELS})
    columns: ColumnsTable = ColumnsTable()
    parquet: ParquetTable = ParquetTable()

    @field_validator("channels")
    @classmethod
    def _both_channels(cls, channels: dict[str, str]) -> dict[str, str]:
        for name in CHANNELS:
            if name not in channels:
                raise ValueError(f"channel '{name}' is not mapped to a column")
        for name in channels:
            if not CHANNEL_NAME.fullmatch(name):
                raise ValueError(f"channel name '{name}' is not lower-case letters, digits and _")
        if len(set(channels.values())) != len(channels):
            raise ValueError("two channels read the same column")
        return channels

    @cached_property
    def header_regex(self) -> re.Pattern[str]:
        """Compiled pattern of a header line."""
        return re.compile(self.file.header_pattern)

    @cached_property
    def file_name_regex(self) -> re.Pattern[str] | None:
        """Compiled pattern of the file name, if there is one."""
        return re.compile(self.file_name.pattern) if self.file_name.pattern else None

    @cached_property
    def ours_by_shop_key(self) -> dict[str, str]:
        """Our metadata name by the shop's key, in lower case."""
        mapped = {shop.strip().casefold(): ours for ours, shop in self.metadata.keys.items()}
        free = (name for name in METADATA_KEYS if name not in self.metadata.keys)
        return {**{name: name for name in free}, **mapped}


CHANNEL_NAME = re.compile(r"[a-z][a-z0-9_]{0,39}")


def parse_profile(data: bytes, where: str) -> Profile:
    """Read a profile from the bytes of its file.

    Raises
    ------
    BadInput
        Not TOML, an unknown key, or a value that cannot be; the message names the key.
    """
    try:
        document = tomllib.loads(data.decode("utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as problem:
        raise BadInput(f"not readable as TOML: {problem}", where=where, do="mend the line named") from None
    try:
        return Profile.model_validate(document)
    except ValidationError as problem:
        raise BadInput(first_complaint(problem), where=where, do="mend the key named") from None


def _compiled(pattern: str) -> re.Pattern[str]:
    if len(pattern) > _MAX_PATTERN:
        raise ValueError(f"longer than {_MAX_PATTERN} characters")
    try:
        return re.compile(pattern)
    except re.error as problem:
        raise ValueError(f"no regular expression: {problem}") from None
