"""The commands of the console script, one module an area, each with ``register(app)``."""

from __future__ import annotations

from seamtell.pipeline.commands import options

__all__ = ["COMMAND_AREAS", "options"]

COMMAND_AREAS: tuple = ()
"""Modules in the order in which ``seamtell --help`` lists their commands."""
