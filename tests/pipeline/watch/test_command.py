"""``seamtell watch`` as a user and a service manager see it."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
import typer
from typer.testing import CliRunner, Result

from seamtell.pipeline.commands import watch as watch_command
from seamtell.pipeline.console import CAUTION, ExitCode
from seamtell.pipeline.workspace import Workspace

app = typer.Typer()
watch_command.register(app)
# A second command: a group of one would lose the name of its only one.
app.command("other")(lambda: None)


def call(ws: Workspace, folder: Path, *words: str) -> Result:
    settled = ("--once", "--settle", "0.05", "--workspace", str(ws.root))
    return CliRunner().invoke(app, ["watch", str(folder), *settled, *words])


def test_a_run_prints_each_decision_the_counts_and_the_caution(
    ws: Workspace, incoming: Path, write_trace: Any
) -> None:
    write_trace(incoming, "S1", bump_pct=40.0)
    result = call(ws, incoming)
    assert result.exit_code == ExitCode.DONE
    for words in ("reject S1", CAUTION, "median", "Next: seamtell mix --by line"):
        assert words in result.stdout
    assert "warning: the limit rule decides alone: no model is approved" in result.stderr


def test_rejected_input_shows_in_the_exit_code(ws: Workspace, incoming: Path) -> None:
    (incoming / "bad.csv").write_bytes(b"rubbish")
    result = call(ws, incoming)
    assert result.exit_code == ExitCode.DONE_WITH_REJECTIONS
    assert "bad.csv: missing_column" in result.stderr
    assert "Next: seamtell rejected" in result.stdout


def test_json_gives_one_document_a_line_and_the_caution_first(
    ws: Workspace, incoming: Path, write_trace: Any
) -> None:
    write_trace(incoming, "S1")
    first, second = map(json.loads, call(ws, incoming, "--json").stdout.splitlines())
    assert (first["event"], first["caution"]) == ("watching", CAUTION)
    assert (second["event"], second["seam_id"], second["verdict"]) == ("decided", "S1", "accept")


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_signal_ends_it_cleanly_with_everything_in_its_place(
    ws: Workspace, incoming: Path, write_trace: Any, number: signal.Signals
) -> None:
    words = ["watch", str(incoming), "--json", "--workspace", str(ws.root)]
    code = "import sys; from seamtell.pipeline.cli import main; sys.argv[0] = 'seamtell'; main()"
    with subprocess.Popen([sys.executable, "-c", code, *words], stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        assert json.loads(process.stdout.readline())["event"] == "watching"
        write_trace(incoming, "S1")
        assert json.loads(process.stdout.readline())["verdict"] == "accept"
        process.send_signal(number)
        assert process.wait(20) == ExitCode.DONE
    assert list(ws.decisions_dir.glob("*-watch/decision.json"))
