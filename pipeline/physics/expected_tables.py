"""The tables ``[expected.<class>]`` of the physics file, read into ranges of flaws."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, replace
from typing import Any

from seamtell.data_synth.expected_flaws import FlawRanges
from seamtell.features.errors import SeamtellError
from seamtell.pipeline.errors import BadInput

__all__ = ["read_expected"]


def read_expected(tables: Mapping[str, object], *, where: str) -> FlawRanges:
    """Read the tables; what a table does not name keeps its default, ``false`` leaves the class out.

    Parameters
    ----------
    tables : mapping of class name to table or False
    where : str
        File, for messages.

    Raises
    ------
    BadInput
        Unknown class or key, or a value that is no share or no pair of rising numbers.
    """
    ranges = FlawRanges()
    known = tuple(one.name for one in fields(FlawRanges))
    for name, table in tables.items():
        if name not in known:
            raise BadInput(
                f"[expected.{name}]: there is no such class", where=where, do=f"use one of {', '.join(known)}"
            )
        ranges = replace(ranges, **{name: _read_class(name, table, getattr(ranges, name), where)})
    return ranges


def _read_class(name: str, table: object, default: Any, where: str) -> Any:
    if table is False:
        return None
    if not isinstance(table, Mapping):
        raise BadInput(
            f"expected.{name} is {table!r}, expected a table or false", where=where, do="mend the key named"
        )
    changes = {key: _read_value(name, key, value, default, where) for key, value in table.items()}
    try:
        return replace(default, **changes)
    except SeamtellError as problem:
        raise BadInput(
            f"[expected.{name}]: {problem.what}", where=where, do=problem.do or "mend the value"
        ) from None


def _read_value(name: str, key: str, value: object, default: Any, where: str) -> float | tuple[float, float]:
    if key not in (known := tuple(one.name for one in fields(default))):
        raise BadInput(
            f"[expected.{name}] key '{key}': there is no such key",
            where=where,
            do=f"use one of {', '.join(known)}",
        )
    pair = isinstance(getattr(default, key), tuple)
    if pair and isinstance(value, list) and len(value) == 2 and all(_is_number(part) for part in value):
        return float(value[0]), float(value[1])
    if not pair and _is_number(value):
        return float(value)  # type: ignore[arg-type]
    expected = "two numbers, [least, most]" if pair else "one number"
    raise BadInput(
        f"[expected.{name}] key '{key}' is {value!r}, expected {expected}", where=where, do="mend the value"
    )


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)
