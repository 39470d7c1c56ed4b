"""The commands of the console script, one module an area, each with ``register(app)``."""

from __future__ import annotations

from types import ModuleType

from seamtell.pipeline.commands import (
    approve,
    classify,
    criteria,
    cutplan,
    demo,
    describe,
    dossier,
    drift,
    evaluate,
    implant,
    ingest,
    keys,
    mix,
    physics,
    process,
    refcheck,
    retrain,
    sections,
    show,
    synth,
    train,
    verify,
    watch,
    withdraw,
    workspace,
)

__all__ = ["COMMAND_AREAS"]

COMMAND_AREAS: tuple[ModuleType, ...] = (
    workspace,
    ingest,
    sections,
    describe,
    show,
    physics,
    implant,
    train,
    evaluate,
    approve,
    dossier,
    criteria,
    withdraw,
    verify,
    keys,
    classify,
    watch,
    refcheck,
    drift,
    mix,
    process,
    cutplan,
    retrain,
    synth,
    demo,
)
"""Modules in the order in which ``seamtell --help`` lists their commands."""
