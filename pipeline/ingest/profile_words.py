"""Words by which a first profile recognises columns and header keys, and units in names."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import datetime

from seamtell.pipeline.ingest.profile import PositionUnit

__all__ = ["find_word", "position_unit", "time_format"]

_WORDS: Mapping[str, tuple[str, ...]] = {
    "seam_id": ("seam id", "seam", "seam no", "seam number", "weld id", "weld", "weld no", "part", "id"),
    "welded_at": ("welded at", "weld time", "welded", "time", "timestamp", "date", "date time", "datetime"),
    "line": ("line", "production line", "machine", "station"),
    "recipe": ("recipe", "program", "job", "weld program"),
    "coil": ("coil", "coil id", "coil no", "heat"),
    "shift": ("shift", "crew"),
    "thickness_a_mm": ("thickness a mm", "thickness a", "sheet a", "t1", "t1 mm"),
    "thickness_b_mm": ("thickness b mm", "thickness b", "sheet b", "t2", "t2 mm"),
    "speed_m_per_min": ("speed m per min", "speed", "weld speed", "speed m min"),
    "n_samples": ("n samples", "samples", "number of samples"),
    "position": (
        "position mm",
        "position",
        "pos",
        "pos mm",
        "distance",
        "x",
        "x mm",
        "travel",
        "enc",
        "encoder",
        "counts",
    ),
    "specular": ("specular", "specular pct", "spec", "straight", "direct"),
    "scatter": ("scatter", "scatter pct", "scattered", "tilted", "oblique"),
}
_UNIT_WORDS = {"mm": PositionUnit.MM, "cm": PositionUnit.CM, "m": PositionUnit.M, "in": PositionUnit.INCH}
_UNIT_WORDS |= {"inch": PositionUnit.INCH, "inches": PositionUnit.INCH}
_TIME_FORMATS = (
    "%d.%m.%Y %H:%M:%S",
    "%d.%m.%Y %H:%M",
    "%d/%m/%Y %H:%M:%S",
    "%d/%m/%Y %H:%M",
    "%m/%d/%Y %H:%M:%S",
    "%m/%d/%Y %H:%M",
    "%Y/%m/%d %H:%M:%S",
    "%Y%m%d_%H%M%S",
)


def find_word(ours: str, names: Sequence[str]) -> str | None:
    """The first of `names` that is a usual word for our name, units left aside."""
    plain = {name: _plain(name) for name in names}
    for word in _WORDS[ours]:
        for name in names:
            full, bare = plain[name]
            if word in (full, bare):
                return name
    return None


def position_unit(name: str) -> PositionUnit | None:
    """The unit that a column name ends with, such as ``Pos [cm]`` or ``position_mm``."""
    words = re.split(r"[\W_]+", name.lower().strip("]) "))
    return _UNIT_WORDS.get(words[-1]) if len(words) > 1 else None


def time_format(text: str) -> tuple[str | None, bool]:
    """A format that reads `text`, and whether another one reads it differently."""
    try:
        datetime.fromisoformat(text)
    except ValueError:
        fits = [form for form in _TIME_FORMATS if _fits(text, form)]
        return (fits[0] if fits else None), len(fits) > 1
    return "iso", False


def _fits(text: str, form: str) -> bool:
    try:
        datetime.strptime(text, form)
    except ValueError:
        return False
    return True


def _plain(name: str) -> tuple[str, str]:
    """A name in lower case without marks; and the same without what stands in brackets."""
    bare = re.sub(r"[\[(].*?[\])]", " ", name)
    return tuple(re.sub(r"[\W_]+", " ", text.lower()).strip() for text in (name, bare))  # type: ignore[return-value]
