"""The one list of descriptors; names, docs, tooltips and the model's schema all come from it.

To add a descriptor, write one decorated function in the module of its family.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from dataclasses import dataclass
from types import ModuleType

from seamtell.features.descriptors import context, cross_channel, shape, width
from seamtell.features.descriptors.definition import (
    Descriptor,
    Family,
    PerChannel,
    descriptor,
    per_channel,
)

__all__ = [
    "ALL",
    "SCHEMA_VERSION",
    "Descriptor",
    "DescriptorRow",
    "Family",
    "by_name",
    "descriptor",
    "descriptor_rows",
    "model_names",
    "names",
    "per_channel",
    "schema_digest",
]

SCHEMA_VERSION = 1
"""Raise it when values change while name, unit and formula stay."""


def _defined_in(module: ModuleType) -> Iterator[Descriptor]:
    """Descriptors of a module, in the order in which they are written there."""
    for value in vars(module).values():
        if isinstance(value, PerChannel):
            yield from value
        elif isinstance(value, Descriptor):
            yield value


ALL: tuple[Descriptor, ...] = tuple(
    found for module in (shape, width, cross_channel, context) for found in _defined_in(module)
)
"""Every descriptor, in the order of the columns."""


@dataclass(frozen=True)
class DescriptorRow:
    """One line of the table of descriptors for documentation and tooltips."""

    name: str
    family: str
    unit: str
    meaning: str
    formula: str
    gain: str
    for_model: bool


def names() -> tuple[str, ...]:
    """Names of all descriptors, in the order of the columns.

    Examples
    --------
    >>> len(names()) >= 35
    True
    """
    return tuple(one.name for one in ALL)


def model_names() -> tuple[str, ...]:
    """Descriptors that the classifier reads: untouched by common gain, silent about recipe and line."""
    return tuple(one.name for one in ALL if one.gain == "invariant" and one.for_model)


def by_name(name: str) -> Descriptor:
    """One descriptor.

    Raises
    ------
    KeyError
        When there is none of that name.
    """
    for one in ALL:
        if one.name == name:
            return one
    raise KeyError(f"no descriptor {name!r}; see names()")


def descriptor_rows() -> tuple[DescriptorRow, ...]:
    """The table of descriptors for people: README, report and tooltips.

    Examples
    --------
    >>> descriptor_rows()[0].name, descriptor_rows()[0].unit
    ('specular_height_pct', '% FSH')
    """
    chosen = set(model_names())
    return tuple(
        DescriptorRow(d.name, d.family.value, d.unit, d.meaning, d.formula, d.gain, d.name in chosen)
        for d in ALL
    )


def schema_digest() -> str:
    """SHA-256 over version and every name, family, unit and formula: what a model was trained on.

    Examples
    --------
    >>> len(schema_digest())
    64
    """
    rows = [[d.name, d.family.value, d.unit, d.formula] for d in ALL]
    text = json.dumps([SCHEMA_VERSION, rows], ensure_ascii=True, separators=(",", ":"))
    return hashlib.sha256(text.encode("ascii")).hexdigest()
