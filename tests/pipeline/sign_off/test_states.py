"""Where models stand, and which moves are allowed."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seamtell.pipeline.errors import Refused
from seamtell.pipeline.sign_off.log_entry import Action, LogEntry
from seamtell.pipeline.sign_off.states import (
    ModelState,
    approved_standing,
    check_move,
    model_states,
    previous_approved,
)

A, W, R = Action.APPROVE, Action.WITHDRAW, Action.REINSTATE
APPROVED, SUPERSEDED, WITHDRAWN = ModelState.APPROVED, ModelState.SUPERSEDED, ModelState.WITHDRAWN


def entries(*moves: tuple[Action, str]) -> tuple[LogEntry, ...]:
    return tuple(
        LogEntry(
            action=action,
            time=datetime(2026, 5, 1, tzinfo=UTC),
            by="x",
            reason="x",
            model_id=model_id,
            model_digest=model_id,
            sections_digest="",
            limits_digest="",
            criteria_digest="",
            evaluation_digest="",
            software_version="",
            seq=seq,
            previous="",
            digest="",
        )
        for seq, (action, model_id) in enumerate(moves, start=1)
    )


@pytest.mark.parametrize(
    ("moves", "states"),
    [
        ([], {}),
        ([(A, "a")], {"a": APPROVED}),
        ([(A, "a"), (A, "b")], {"a": SUPERSEDED, "b": APPROVED}),
        ([(A, "a"), (A, "b"), (R, "a")], {"a": APPROVED, "b": SUPERSEDED}),
        ([(A, "a"), (A, "b"), (W, "b")], {"a": SUPERSEDED, "b": WITHDRAWN}),
        ([(A, "a"), (A, "b"), (W, "a")], {"a": WITHDRAWN, "b": APPROVED}),
        ([(A, "a"), (W, "a"), (A, "a")], {"a": APPROVED}),
        ([(A, "a"), (A, "a")], {"a": APPROVED}),
    ],
)
def test_states_follow_from_the_moves(moves: list, states: dict) -> None:
    assert model_states(entries(*moves)) == states


@pytest.mark.parametrize(
    "moves",
    [
        [(W, "a")],
        [(R, "a")],
        [(A, "a"), (R, "a")],
        [(A, "a"), (W, "a"), (R, "a")],
        [(A, "a"), (W, "a"), (W, "a")],
    ],
)
def test_a_log_with_a_move_that_is_not_allowed_cannot_be_trusted(moves: list) -> None:
    with pytest.raises(Refused, match="cannot"):
        model_states(entries(*moves))


def test_the_model_to_go_back_to_is_the_one_at_work_last() -> None:
    def back(*moves: tuple[Action, str]) -> str:
        standing = previous_approved(entries(*moves))
        return standing.approval.model_id if standing else ""

    assert back((A, "a"), (A, "b"), (A, "c")) == "b"
    assert back((A, "a"), (A, "b"), (A, "c"), (W, "b")) == "a"
    assert back((A, "a"), (A, "b"), (R, "a")) == "b"
    assert back((A, "a")) == ""


@settings(max_examples=150, deadline=None)
@given(wishes=st.lists(st.tuples(st.sampled_from(Action), st.sampled_from("abc")), max_size=12))
def test_there_is_never_more_than_one_approved_model_and_a_withdrawn_one_returns_by_approval_only(
    wishes: list[tuple[Action, str]],
) -> None:
    done: list[tuple[Action, str]] = []
    for action, model_id in wishes:
        before = model_states(entries(*done)).get(model_id, ModelState.CANDIDATE)
        try:
            check_move(action, model_id, before)
        except Refused:
            continue
        done.append((action, model_id))
        states = model_states(entries(*done))
        assert list(states.values()).count(APPROVED) <= 1
        if before is WITHDRAWN and states[model_id] is APPROVED:
            assert action is A
        standing = approved_standing(entries(*done))
        assert (standing.approval.model_id if standing else None) == next(
            (name for name, state in states.items() if state is APPROVED), None
        )
