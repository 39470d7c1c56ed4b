"""The commands of the console script, one module an area, each with ``register(app)``."""

from __future__ import annotations

from types import ModuleType

from seamtell.pipeline.commands import (
    approve,
    classify,
    demo,
    describe,
    evaluate,
    ingest,
    mix,
    sections,
    show,
    synth,
    train,
    workspace,
)

__all__ = ["COMMAND_AREAS"]

COMMAND_AREAS: tuple[ModuleType, ...] = (
    workspace,
    ingest,
    sections,
    describe,
    show,
    train,
    evaluate,
    approve,
    classify,
    mix,
    synth,
    demo,
)
"""Modules in the order in which ``seamtell --help`` lists their commands."""
