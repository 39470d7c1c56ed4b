"""Where each model stands, by the entries of the log alone.

    candidate --approve--> approved --(another is put to work)--> superseded
    approved or superseded --withdraw--> withdrawn
    superseded --reinstate--> approved
    superseded or withdrawn --approve--> approved, with all checks anew

Approving the approved model again renews its approval on the present evidence.
At most one model is approved.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from seamtell.pipeline.errors import Refused
from seamtell.pipeline.sign_off.log_entry import Action, LogEntry

__all__ = [
    "ModelState",
    "Standing",
    "approved_standing",
    "check_move",
    "model_states",
    "previous_approved",
    "standings",
]


class ModelState(StrEnum):
    """Where a model stands; a model that the log does not name is a candidate."""

    CANDIDATE = "candidate"
    APPROVED = "approved"
    SUPERSEDED = "superseded"
    WITHDRAWN = "withdrawn"


_MOVES = {
    Action.APPROVE: frozenset(ModelState),
    Action.WITHDRAW: frozenset({ModelState.APPROVED, ModelState.SUPERSEDED}),
    Action.REINSTATE: frozenset({ModelState.SUPERSEDED}),
}


@dataclass(frozen=True)
class Standing:
    """Where one model stands.

    Parameters
    ----------
    state : ModelState
    approval : LogEntry
        The *approve* or *reinstate* that put it to work last; holds what the approval rests on.
    last : LogEntry
        The entry that names it last.
    """

    state: ModelState
    approval: LogEntry
    last: LogEntry


def check_move(action: Action, model_id: str, state: ModelState) -> None:
    """Refuse a move that does not start from the state in which the model is.

    Raises
    ------
    Refused
    """
    if state not in _MOVES[action]:
        allowed = " or ".join(sorted(_MOVES[action]))
        raise Refused(
            f"cannot {action} {model_id}: it is {state}, expected {allowed}",
            do="see 'seamtell log'",
        )


def standings(entries: Iterable[LogEntry]) -> dict[str, Standing]:
    """Standing of every model that the log names.

    Raises
    ------
    Refused
        An entry makes a move that is not allowed: it was not written by this software.
    """
    found: dict[str, Standing] = {}
    for entry in entries:
        before = found.get(entry.model_id)
        check_move(entry.action, entry.model_id, before.state if before else ModelState.CANDIDATE)
        if entry.action.puts_to_work:
            for model_id, one in found.items():
                if one.state is ModelState.APPROVED:
                    found[model_id] = Standing(ModelState.SUPERSEDED, one.approval, one.last)
            found[entry.model_id] = Standing(ModelState.APPROVED, entry, entry)
        elif before is not None:
            found[entry.model_id] = Standing(ModelState.WITHDRAWN, before.approval, entry)
    return found


def model_states(entries: Iterable[LogEntry]) -> dict[str, ModelState]:
    """State of each model that the log names."""
    return {model_id: one.state for model_id, one in standings(entries).items()}


def approved_standing(entries: Iterable[LogEntry]) -> Standing | None:
    """Standing of the approved model; None when there is none."""
    every = standings(entries).values()
    return next((one for one in every if one.state is ModelState.APPROVED), None)


def previous_approved(entries: Iterable[LogEntry]) -> Standing | None:
    """Standing of the superseded model that was at work last; None when there is none."""
    superseded = [one for one in standings(entries).values() if one.state is ModelState.SUPERSEDED]
    return max(superseded, key=lambda one: one.approval.seq, default=None)
