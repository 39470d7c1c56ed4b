"""What a command says and how it ends when part of the seam store cannot be read."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import typer

from seamtell.pipeline import console
from seamtell.pipeline.errors import StorageProblem

if TYPE_CHECKING:
    from seamtell.pipeline.store.row_groups import UnreadSeams

__all__ = ["exit_if_unread", "warn_unread"]

_MOST_NAMED = 5


def warn_unread(unread: Sequence[UnreadSeams]) -> None:
    """Name the damaged parts, and the first of the seams in each."""
    for one in unread:
        named = ", ".join(f"'{seam_id}'" for seam_id in one.seam_ids[:_MOST_NAMED])
        more = "" if len(one.seam_ids) <= _MOST_NAMED else ", …"
        which = f": {named}{more}" if named else ", which ones cannot be read either"
        console.warn(
            f"{one.path}: damaged, {one.seams} seams of it are not in the result{which} ({one.problem}). "
            "To do: restore the file from a backup, then run again"
        )


def exit_if_unread(unread: Sequence[UnreadSeams]) -> None:
    """End with the exit code of a damaged store; all other seams are done."""
    if unread:
        raise typer.Exit(StorageProblem.exit_code)
