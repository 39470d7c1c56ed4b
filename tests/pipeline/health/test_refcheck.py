from __future__ import annotations

import json
from datetime import timedelta
from pathlib import Path

import pytest
from typer.testing import CliRunner

from seamtell.features.contracts import Channel
from seamtell.pipeline.cli import app
from seamtell.pipeline.errors import BadInput, StorageProblem
from seamtell.pipeline.health.check_record import checks_path, read_checks
from seamtell.pipeline.health.flaw_return import Level
from seamtell.pipeline.health.refcheck import measured_lines, refcheck
from seamtell.pipeline.workspace import Workspace

from .conftest import BLANK, START, WriteRun

NOW = START + timedelta(days=400)


def check(ws: Workspace, blank: Path, *runs: Path):
    return refcheck(ws, blank, runs, "L1", now=NOW)


# 20 lg of the amplitude ratio is the decibel of an amplitude by definition (ISO 80000-3, from memory).
@pytest.mark.parametrize("gain_db", [-1.5, 0.0, 1.5])
def test_a_gain_comes_back_as_that_many_decibels(ws, blank_path, write_run: WriteRun, gain_db: float) -> None:
    result = check(ws, blank_path, write_run(specular_db=gain_db))
    assert result.level is Level.GOOD
    for flaw in result.checks[0].flaws:
        assert flaw.deviation_db[Channel.SPECULAR] == pytest.approx(gain_db, abs=0.06)
        assert flaw.deviation_db[Channel.SCATTER] == pytest.approx(0.0, abs=0.08)


@pytest.mark.parametrize(
    ("gain_db", "level"),
    [(-5.0, Level.STOP), (-3.0, Level.WARN), (1.0, Level.GOOD), (3.0, Level.WARN), (4.5, Level.STOP)],
)
def test_two_decibels_warn_and_four_stop_on_either_channel(
    ws, blank_path, write_run: WriteRun, gain_db: float, level: Level
) -> None:
    first = check(ws, blank_path, write_run("A", specular_db=gain_db))
    second = check(ws, blank_path, write_run("B", day=1, scatter_db=gain_db))
    assert (first.level, second.level) == (level, level)


def test_the_tolerances_of_the_settings_hold(ws, blank_path, write_run: WriteRun) -> None:
    text = ws.settings_path.read_text(encoding="utf-8")
    ws.settings_path.write_text(
        text.replace("warn_db = 2.0", "warn_db = 0.5").replace("stop_db = 4.0", "stop_db = 1.0"), "utf-8"
    )
    assert check(ws, blank_path, write_run(specular_db=1.5)).level is Level.STOP


@pytest.mark.parametrize("lost", [0, 1, 2])
def test_a_missing_flaw_stops_and_is_named(ws, blank_path, write_run: WriteRun, lost: int) -> None:
    flaws = check(ws, blank_path, write_run(without=(lost,))).checks[0].flaws
    assert [flaw.offset_mm is None for flaw in flaws] == [i == lost for i in range(3)]
    assert flaws[lost].level is Level.STOP


def test_an_empty_trace_stops_on_every_flaw(ws, blank_path, write_run: WriteRun) -> None:
    flaws = check(ws, blank_path, write_run(without=(0, 1, 2))).checks[0].flaws
    assert all(flaw.level is Level.STOP for flaw in flaws)


def test_the_offset_is_measured_and_one_beyond_the_tolerance_stops(
    ws, blank_path, write_run: WriteRun
) -> None:
    near = check(ws, blank_path, write_run("A", shift_mm=1.5))
    far = check(ws, blank_path, write_run("B", day=1, shift_mm=3.0))
    assert near.level is Level.GOOD
    assert [flaw.offset_mm for flaw in near.checks[0].flaws] == pytest.approx([1.5] * 3, abs=0.3)
    assert far.level is Level.STOP


def test_one_flaw_out_of_step_with_the_others_stops_alone(ws, blank_path, write_run: WriteRun) -> None:
    text = BLANK.replace("position_mm = 140.0", "position_mm = 137.0")
    blank_path.write_text(text, encoding="utf-8")
    flaws = check(ws, blank_path, write_run(shift_mm=1.0)).checks[0].flaws
    assert [flaw.level for flaw in flaws] == [Level.GOOD, Level.GOOD, Level.STOP]


@pytest.mark.parametrize(
    ("run", "message"),
    [
        ({"line": "L2"}, "is of line 'L2', expected 'L1'"),
        ({"recipe": "R7"}, "has recipe 'R7', expected 'REF' or 'R1'"),
        ({"length_mm": 120.0}, "is 120.0 mm long, the blank 180 mm"),
        ({"turned": True}, "positions are reversed"),
    ],
)
def test_a_run_of_something_else_is_refused_and_leaves_no_record(
    ws, blank_path, write_run: WriteRun, run: dict[str, object], message: str
) -> None:
    with pytest.raises(BadInput, match=message):
        check(ws, blank_path, write_run(**run))
    assert read_checks(ws) == ()


def test_a_run_older_than_the_last_one_is_refused(ws, blank_path, write_run: WriteRun) -> None:
    check(ws, blank_path, write_run("B", day=1))
    with pytest.raises(BadInput, match="is not later than 'B', the last one of its line"):
        check(ws, blank_path, write_run("A"))
    with pytest.raises(BadInput, match=r"run 'B' .* is on record"):
        check(ws, blank_path, write_run("B", day=1))
    assert len(read_checks(ws)) == 1


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        (
            "expected_pct = { specular = 30.0, scatter = 24.0 }",
            "",
            "states no expected_pct",
        ),
        ("scatter = 12.0", "scatter = -1.0", "is -1, expected 0 to 100"),
        ("position_mm = 140.0", "position_mm = 96.0", "expected a place of its own"),
        ("[[flaw]]", "[[blemish]]", "key 'blemish': there is no such key"),
    ],
)
def test_a_blank_that_states_too_little_is_refused(
    ws, blank_path, write_run: WriteRun, old: str, new: str, message: str
) -> None:
    blank_path.write_text(BLANK.replace(old, new), encoding="utf-8")
    with pytest.raises(BadInput, match=message):
        check(ws, blank_path, write_run())


def test_what_measure_prints_makes_the_same_runs_pass_at_zero(ws, blank_path, write_run: WriteRun) -> None:
    run = write_run(specular_db=-6.0)
    lines = [text for _, text in measured_lines(ws, blank_path, [run], "L1")]
    text = BLANK
    for old, new in zip([t for t in BLANK.splitlines() if t.startswith("expected")], lines, strict=True):
        text = text.replace(old, new)
    blank_path.write_text(text, encoding="utf-8")
    worst = [
        abs(v) for flaw in check(ws, blank_path, run).checks[0].flaws for v in flaw.deviation_db.values()
    ]
    assert max(worst) < 0.05


def test_a_line_of_the_record_that_was_changed_is_noticed(ws, blank_path, write_run: WriteRun) -> None:
    for day in range(3):
        check(ws, blank_path, write_run(f"R{day}", day=day, specular_db=-5.0 if day == 1 else 0.0))
    lines = checks_path(ws).read_text(encoding="utf-8").splitlines(keepends=True)
    checks_path(ws).write_text("".join([lines[0], lines[2]]), encoding="utf-8")
    with pytest.raises(StorageProblem, match="does not follow from the line before it"):
        read_checks(ws)


def test_the_command_ends_with_refused_on_stop_and_says_what_is_suspect(
    ws, blank_path, write_run: WriteRun
) -> None:
    call = ["refcheck", str(blank_path), str(write_run(specular_db=-8.0)), "--line", "L1"]
    done = CliRunner().invoke(app, [*call, "--workspace", str(ws.root), "--json"])
    document = json.loads(done.stdout)
    assert done.exit_code == 5
    assert (document["level"], document["suspects"]["count"]) == ("stop", 0)
    assert "nothing printed here releases a weld" in document["caution"]
