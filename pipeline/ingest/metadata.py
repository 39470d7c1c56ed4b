"""Metadata of a seam: gathered as texts from file name, header and constants, then read."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from seamtell.pipeline.ingest.profile import METADATA_KEYS, REQUIRED_METADATA, Profile
from seamtell.pipeline.ingest.reasons import InputRejected, ReasonCode

__all__ = ["MAX_TEXT", "SeamMetadata", "from_file_name", "gather", "read_metadata"]

MAX_TEXT = 200
"""Longest text of any metadata value, in characters."""
MAX_FILE_NAME = 255
_UNKNOWN = frozenset({"", "-", "n/a", "na", "nan", "none", "unknown"})
_YEARS = range(1970, 2200)


@dataclass(frozen=True)
class SeamMetadata:
    """Checked metadata, ready for a `SeamTrace`."""

    seam_id: str
    welded_at: datetime
    line: str
    recipe: str
    coil: str
    shift: str
    thickness_a_mm: float
    thickness_b_mm: float
    speed_m_per_min: float
    n_samples: int | None
    extra: Mapping[str, str]


def from_file_name(name: str, profile: Profile) -> dict[str, str]:
    """Texts that the file name gives, by group name of the profile's pattern.

    Raises
    ------
    InputRejected
        The pattern does not match.
    """
    if profile.file_name_regex is None:
        return {}
    # A pattern of the user's own can be slow on long text; no file system allows longer names anyway.
    match = profile.file_name_regex.search(name[:MAX_FILE_NAME])
    if match is None:
        raise InputRejected(
            ReasonCode.FILE_NAME_MISMATCH,
            f"the file name does not match the pattern {profile.file_name.pattern}",
        )
    return {key: value for key, value in match.groupdict().items() if value is not None}


def gather(
    profile: Profile, file_name: str, pairs: Iterable[tuple[str, str]]
) -> tuple[dict[str, str], dict[str, str]]:
    """Put constants, file name and header together; the later wins.

    Parameters
    ----------
    profile : Profile
    file_name : str
        Name of the file without its folder.
    pairs : iterable of (str, str)
        Key and value as the shop wrote them.

    Returns
    -------
    metadata : dict
        By our names.
    extra : dict
        Everything else.
    """
    metadata: dict[str, str] = {}
    extra: dict[str, str] = {}
    for key, value in (*profile.constants.items(), *from_file_name(file_name, profile).items()):
        (metadata if key in METADATA_KEYS else extra)[key] = value.strip()
    for key, value in pairs:
        ours = profile.ours_by_shop_key.get(key.strip().casefold())
        if ours in METADATA_KEYS:
            metadata[ours] = value.strip()
        elif ours is not None:
            extra[ours] = value.strip()
        elif profile.metadata.keep_others:
            name = re.sub(r"\W+", "_", key.strip().lower())[:60].strip("_")
            if name:
                extra[name] = value.strip()
    return metadata, extra


def read_metadata(metadata: Mapping[str, str], extra: Mapping[str, str], profile: Profile) -> SeamMetadata:
    """Check the texts and turn them into values.

    Raises
    ------
    InputRejected
        Something required is missing, or a value cannot be read.
    """
    missing = [key for key in REQUIRED_METADATA if not metadata.get(key)]
    if missing:
        raise InputRejected(ReasonCode.MISSING_METADATA, f"no {', '.join(missing)}")
    texts = {key: _text(key, metadata.get(key, "")) for key in ("seam_id", "line", "recipe", "coil", "shift")}
    return SeamMetadata(
        seam_id=texts["seam_id"],
        welded_at=_time(metadata["welded_at"], profile),
        line=texts["line"],
        recipe=texts["recipe"],
        coil=texts["coil"],
        shift=texts["shift"],
        thickness_a_mm=_positive("thickness_a_mm", metadata, profile),
        thickness_b_mm=_positive("thickness_b_mm", metadata, profile),
        speed_m_per_min=_positive("speed_m_per_min", metadata, profile),
        n_samples=_count(metadata),
        extra={key: _text(key, value) for key, value in extra.items()},
    )


def _text(key: str, value: str) -> str:
    value = value.replace("\N{NO-BREAK SPACE}", " ").strip()
    if len(value) > MAX_TEXT:
        raise InputRejected(ReasonCode.BAD_METADATA, f"{key} has {len(value)} characters, at most {MAX_TEXT}")
    if not value.isprintable():
        raise InputRejected(ReasonCode.BAD_METADATA, f"{key} holds control characters")
    return value


def _time(text: str, profile: Profile) -> datetime:
    form = profile.time.format
    try:
        value = datetime.fromisoformat(text) if form == "iso" else datetime.strptime(text, form)
        if value.tzinfo is None:
            value = value.replace(tzinfo=ZoneInfo(profile.time.zone))
        value = value.astimezone(UTC)
    except (ValueError, OverflowError):
        wanted = "an ISO 8601 time" if form == "iso" else f"a time of the form {form}"
        raise InputRejected(
            ReasonCode.BAD_METADATA,
            f"welded_at '{text[:60]}' is not {wanted}",
            do="mend the time, or state its format under [time] in the input profile",
        ) from None
    if value.year not in _YEARS:
        raise InputRejected(ReasonCode.BAD_METADATA, f"welded_at '{text[:60]}' lies in the year {value.year}")
    return value


def _positive(key: str, metadata: Mapping[str, str], profile: Profile) -> float:
    text = metadata.get(key, "").strip()
    if text.casefold() in _UNKNOWN:
        return math.nan
    try:
        value = float(text.replace(",", ".") if profile.file.decimal == "," else text)
    except ValueError:
        value = math.nan
    if not (math.isfinite(value) and value > 0):
        raise InputRejected(ReasonCode.BAD_METADATA, f"{key} '{text[:40]}' is not a positive number")
    return value


def _count(metadata: Mapping[str, str]) -> int | None:
    text = metadata.get("n_samples", "").strip()
    if text.casefold() in _UNKNOWN:
        return None
    if not (text.isascii() and text.isdigit() and len(text) < 10):
        raise InputRejected(ReasonCode.BAD_METADATA, f"n_samples '{text[:40]}' is not a whole number")
    return int(text)
