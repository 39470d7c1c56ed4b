"""Drift of a made-up line: eleven seams a day with one hump each, and a block every day."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from seamtell.features.contracts import SeamTrace
from seamtell.models.answers import NO_CODE, REASONS
from seamtell.pipeline.classify import classify
from seamtell.pipeline.cli import app
from seamtell.pipeline.decisions.files import read_decisions
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.health.drift import drift, restart_drift
from seamtell.pipeline.health.drift_state import DriftLevel, Stream, drift_path, read_drift, write_drift
from seamtell.pipeline.health.standing import suspensions_of
from seamtell.pipeline.init import init_workspace
from seamtell.pipeline.settings import read_settings
from seamtell.pipeline.store.writer import StoreWriter
from seamtell.pipeline.workspace import Workspace

FIRST = datetime(2026, 3, 25, 6, 0, tzinfo=UTC)
NOW = datetime(2027, 1, 1, tzinfo=UTC)
A_DAY = 11
NewWorkspace = Callable[[Path], Workspace]


def seams(days: range, *, gain_db=lambda _: 0.0, humps=lambda _: 1, line: str = "L1") -> list[SeamTrace]:
    """Seams of some days: gain of both channels and number of humps are functions of the day."""
    made = []
    for day in days:
        for i in range(A_DAY):
            rng = np.random.default_rng([day, i, len(line)])
            x = np.arange(200.0)
            specular, scatter = 7 + rng.normal(0, 0.15, 200), 0.6 + np.abs(rng.normal(0, 0.1, 200))
            for k in range(humps(day)):
                hump = np.exp(-(((x - 35 - 45 * k - rng.uniform(0, 10)) / 4.0) ** 2)) * rng.uniform(0.7, 1.4)
                specular, scatter = specular + 8 * hump, scatter + 5 * hump
            gain = 10 ** ((gain_db(day) + rng.normal(0, 0.1)) / 20)
            values = {
                "specular": (gain * specular).astype(np.float32),
                "scatter": (gain * scatter).astype(np.float32),
            }
            at = FIRST + timedelta(days=day, minutes=20 * i)
            made.append(SeamTrace(f"{line}-{day:03d}-{i:02d}", at, line, "R1", 0.0, 1.0, values))
    return made


def store(ws: Workspace, traces: list[SeamTrace]) -> Workspace:
    writer = StoreWriter(ws.traces_dir)
    for trace in traces:
        writer.add(trace, "made up")
    writer.commit()
    return ws


@pytest.fixture(scope="module")
def new_workspace(limits_toml: Callable[..., str]) -> NewWorkspace:
    """Makes an empty workspace in which a day is a block."""
    limits = limits_toml("R1", specular=30.0, scatter=30.0, dead_zone_mm=5.0, beam_width_mm=9.0)

    def made(folder: Path) -> Workspace:
        ws = init_workspace(folder)
        ws.limits_path.write_text(limits, encoding="utf-8")
        text = ws.settings_path.read_text(encoding="utf-8")
        text = text.replace("drift_block_seams = 50", "drift_block_seams = 11")
        ws.settings_path.write_text(text, encoding="utf-8")
        return ws

    return made


def falling(day: int) -> float:
    """Three decibels lost over six weeks, from day 25 on."""
    return -3.0 * min(max(day - 25, 0), 42) / 42


@pytest.fixture(scope="module")
def quiet(tmp_path_factory: pytest.TempPathFactory, new_workspace: NewWorkspace) -> Workspace:
    ws = store(new_workspace(tmp_path_factory.mktemp("quiet") / "ws"), seams(range(70)))
    drift(ws, now=NOW)
    return ws


@pytest.fixture(scope="module")
def worn(tmp_path_factory: pytest.TempPathFactory, new_workspace: NewWorkspace) -> Workspace:
    ws = new_workspace(tmp_path_factory.mktemp("worn") / "ws")
    store(ws, [*seams(range(70), gain_db=falling), *seams(range(70), line="L22")])
    drift(ws, now=NOW)
    return ws


def test_a_quiet_line_reaches_no_level_and_every_whole_day_is_counted(quiet: Workspace) -> None:
    state = read_drift(quiet)
    assert state is not None
    line = state.lines["L1"]
    assert line.level is DriftLevel.NONE
    assert len(line.blocks) == 69  # the newest day may not be over
    assert [block.since for block in line.blocks] == [FIRST.date() + timedelta(days=d) for d in range(69)]
    assert {(block.seams, block.indications) for block in line.blocks} == {(A_DAY, A_DAY)}


def test_a_head_that_loses_three_decibels_is_suspended_on_its_own_line_before_the_loss_is_over(
    worn: Workspace,
) -> None:
    state = read_drift(worn)
    assert state is not None
    alarms = {(a.stream, a.level): a for a in state.lines["L1"].alarms}
    suspended = alarms[Stream.BASELINE_SPECULAR, DriftLevel.SUSPEND]
    assert FIRST.date() + timedelta(days=25) < suspended.since < FIRST.date() + timedelta(days=67)
    assert not suspended.upward
    assert state.lines["L22"].level is DriftLevel.NONE
    assert alarms[Stream.BASELINE_SPECULAR, DriftLevel.NOTE].since <= suspended.since


def test_classifying_shows_the_suspension_in_its_table_and_leaves_the_verdicts_of_the_limit_rule(
    worn: Workspace, tmp_path: Path
) -> None:
    result = classify(worn, out=tmp_path / "out", now=NOW)
    indications, decisions, _ = read_decisions(result.folder)
    state = read_drift(worn)
    assert state is not None
    since = min(a.since for a in state.lines["L1"].alarms if a.level is DriftLevel.SUSPEND)
    day = (since - FIRST.date()).days
    reasons = indications.set_index("seam_id")["reason"]
    assert reasons[f"L1-{day - 1:03d}-00"] == "no_approved_model"
    assert reasons[f"L1-{day:03d}-00"] == "drift_alarm"
    assert set(reasons[reasons.index.str.startswith("L22")]) == {"no_approved_model"}
    assert (decisions["verdict"] == decisions["limit_verdict"]).all()
    assert "labels of line 'L1' are suspended" in result.suspended[0]


def test_looking_every_few_days_gives_what_looking_once_gives(
    quiet: Workspace, tmp_path: Path, new_workspace: NewWorkspace
) -> None:
    ws = new_workspace(tmp_path / "ws")
    for first in range(0, 70, 14):
        drift(store(ws, seams(range(first, first + 14))), now=NOW)
    assert read_drift(ws) == read_drift(quiet)


def test_a_line_that_stood_still_over_the_end_of_a_month_is_gone_on_with(
    tmp_path: Path, new_workspace: NewWorkspace
) -> None:
    ws = new_workspace(tmp_path / "ws")
    # The last block of March is whole, and April begins with a day that is not.
    assert drift(store(ws, [*seams(range(4)), *seams(range(10, 11))]), now=NOW).new_blocks == {"L1": 4}
    assert drift(ws, now=NOW).new_blocks == {"L1": 0}
    assert drift(store(ws, seams(range(11, 13))), now=NOW).new_blocks == {"L1": 2}


def test_a_seam_that_comes_in_late_changes_no_block_that_was_counted(
    tmp_path: Path, new_workspace: NewWorkspace
) -> None:
    ws = store(new_workspace(tmp_path / "ws"), seams(range(5)))
    drift(ws, now=NOW)
    before = read_drift(ws)
    late = SeamTrace(
        "late", FIRST + timedelta(days=1), "L1", "R1", 0.0, 1.0, seams(range(1))[0].amplitudes_pct
    )
    result = drift(store(ws, [late]), now=NOW)
    assert read_drift(ws) == before
    assert result.new_blocks == {"L1": 0}


def test_more_flaws_ask_a_person_to_look_and_never_suspend(
    tmp_path: Path, new_workspace: NewWorkspace
) -> None:
    ws = new_workspace(tmp_path / "ws")
    store(ws, seams(range(60), humps=lambda day: 1 if day < 30 else 3))
    drift(ws, now=NOW)
    state = read_drift(ws)
    assert state is not None
    rate = [a for a in state.lines["L1"].alarms if a.stream is Stream.INDICATION_RATE]
    assert max(a.level for a in rate) is DriftLevel.REVIEW
    assert all(a.upward and a.since >= date(2026, 4, 24) for a in rate)


def test_a_restart_needs_a_name_and_a_reason_and_gives_the_labels_back(
    worn: Workspace, tmp_path: Path
) -> None:
    kept = drift_path(worn).read_bytes()
    with pytest.raises(BadInput, match="a restart needs a name and a reason"):
        restart_drift(worn, by="", reason="head exchanged", now=NOW)
    with pytest.raises(BadInput, match="no line 'L7' in the sequence"):
        restart_drift(worn, by="Ines Holm", reason="head exchanged", line="L7", now=NOW)
    state = restart_drift(worn, by="Ines Holm", reason="head exchanged", line="L1", now=NOW)
    own = state.lines["L1"]
    assert (own.level, own.blocks, own.restarts[0].was) == (DriftLevel.NONE, (), DriftLevel.SUSPEND)
    suspensions, _ = suspensions_of(worn, read_settings(worn.settings_path).health, now=NOW)
    assert suspensions.codes(["L1"], [NOW])[0] == NO_CODE
    # What was welded before the restart has not become better by it.
    assert suspensions.codes(["L1"], [FIRST + timedelta(days=68)])[0] != NO_CODE
    drift_path(worn).write_bytes(kept)
    suspensions, _ = suspensions_of(worn, read_settings(worn.settings_path).health, now=NOW)
    assert REASONS[suspensions.codes(["L1"], [NOW])[0]].value == "drift_alarm"


def test_the_sequence_of_another_model_is_not_gone_on_with(
    tmp_path: Path, new_workspace: NewWorkspace
) -> None:
    ws = store(new_workspace(tmp_path / "ws"), seams(range(4)))
    drift(ws, now=NOW)
    state = read_drift(ws)
    assert state is not None
    write_drift(ws, state.model_copy(update={"model_digest": "e" * 64}))
    with pytest.raises(BadInput, match="was begun with another model at work"):
        drift(ws, now=NOW)
    restart_drift(ws, by="Ines Holm", reason="new model", now=NOW)
    assert drift(store(ws, seams(range(4, 6))), now=NOW).new_blocks == {"L1": 2}


def test_a_state_that_cannot_be_read_suspends_every_line(tmp_path: Path, new_workspace: NewWorkspace) -> None:
    ws = new_workspace(tmp_path / "ws")
    drift_path(ws).parent.mkdir()
    drift_path(ws).write_text("{", encoding="utf-8")
    suspensions, sentences = suspensions_of(ws, read_settings(ws.settings_path).health, now=NOW)
    assert suspensions.codes(["L1"], [NOW])[0] != NO_CODE
    assert "not readable" in sentences[0]


def test_the_command_states_its_budget_and_the_caution(quiet: Workspace) -> None:
    call = ["drift", "--workspace", str(quiet.root)]
    document = json.loads(CliRunner().invoke(app, [*call, "--json"]).stdout)
    assert document["budget"]["streams"] == len(Stream)
    assert document["lines"]["L1"]["level"] == "none"
    shown = CliRunner().invoke(app, call).stdout
    assert "No drift is seen on the 1 of 1 lines" in shown
    assert "a suspension in 2000" in shown
    assert "nothing printed here releases a weld" in shown


def test_health_json_holds_what_pages_show(worn: Workspace) -> None:
    document = json.loads((worn.health_dir / "health.json").read_text(encoding="utf-8"))
    assert set(document["drift"]) == {"L1", "L22"}
    assert document["checks"] == []
