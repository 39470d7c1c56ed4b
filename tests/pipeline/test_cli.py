"""The console script as the shell calls it: exit codes, one line an error, never a traceback."""

from __future__ import annotations

import errno
import os
import re
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from seamtell.pipeline import cli
from seamtell.pipeline.console import ExitCode
from seamtell.pipeline.init import init_workspace
from seamtell.pipeline.workspace import Workspace

ENTRY = "from seamtell.pipeline.cli import main; main()"


@dataclass(frozen=True)
class Ended:
    """How a call ended."""

    code: int
    out: str
    err: str


Call = Callable[..., Ended]


@pytest.fixture
def seamtell(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Call:
    """Call the entry point of the console script with these words."""

    def call(*words: str | Path) -> Ended:
        monkeypatch.setattr("sys.argv", ["seamtell", *map(str, words)])
        code = 0
        try:
            cli.main()
        except SystemExit as end:
            code = end.code if isinstance(end.code, int) else 0 if end.code is None else 1
        return Ended(code, *capsys.readouterr())

    return call


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, limits_toml: Callable[..., str]) -> Workspace:
    """Make an empty workspace the current folder."""
    ws = init_workspace(tmp_path / "ws")
    limits = limits_toml("R1", specular=18.0, scatter=6.0, dead_zone_mm=5.0, beam_width_mm=9.4)
    ws.limits_path.write_text(limits)
    (ws.root / "empty").mkdir()
    (ws.root / "seam.csv").write_text("position_mm,specular,scatter\n0,7,0\n1,7,0\n")
    (ws.root / "garbage.csv").write_bytes(bytes(range(256)) * 40)
    (ws.root / "sections.csv").write_text(
        "section_id,seam_id,position_mm,position_tol_mm,flaw,side,purpose\nX1,S1,3,1,crack,top,targeted\n"
    )
    monkeypatch.chdir(ws.root)
    return ws


def assert_one_line(ended: Ended, code: ExitCode) -> None:
    assert ended.code == code, ended
    assert "Traceback" not in ended.err + ended.out
    errors = [line for line in ended.err.splitlines() if line.startswith("error: ")]
    assert len(errors) == 1, ended.err
    assert re.search(r"\. To do: \S", errors[0]), errors


@pytest.mark.parametrize(
    "words",
    [
        ("init", "."),
        ("ingest", "nowhere"),
        ("ingest", "empty"),
        ("ingest", "*.nothing"),
        ("ingest", "garbage.csv", "--profile", "nobody"),
        ("profile", "check", "nowhere.csv"),
        ("profile", "guess", "garbage.csv"),
        ("sections", "add", "nowhere.csv"),
        ("sections", "add", "garbage.csv"),
        ("describe",),
        ("show", "../../etc/passwd"),
        ("train",),
        ("evaluate", "m-0001"),
        ("evaluate", "../m-0001"),
        ("approve", "m-0001", "--by", "A. Person", "--reason", "because"),
        ("classify",),
        ("mix",),
        ("mix", "--by", "no such column"),
    ],
    ids=" ".join,
)
def test_what_a_user_can_cause_is_one_line_with_advice(here: Workspace, seamtell: Call, words) -> None:
    assert_one_line(seamtell(*words), ExitCode.BAD_INPUT)


@pytest.mark.parametrize(
    ("file", "content"),
    [
        ("seamtell.toml", b"schema_version = 99\n"),
        ("seamtell.toml", b"\xff\xfe\x00"),
        ("seamtell.toml", b"[train]\nfolds = 'many'\n"),
        ("limits.toml", b"[recipe.R1\n"),
        ("limits.toml", b"[recipe.R1]\nlimit_pct = { specular = 18.0 }\n"),
    ],
    ids=["newer", "no text", "wrong type", "no TOML", "incomplete limits"],
)
@pytest.mark.parametrize("command", ["ingest seam.csv", "classify"])
def test_a_broken_file_of_the_workspace_is_one_line_that_names_it(
    here: Workspace, seamtell: Call, command: str, file: str, content: bytes
) -> None:
    (here.root / file).write_bytes(content)
    ended = seamtell(*command.split())
    assert_one_line(ended, ExitCode.BAD_INPUT)
    assert file in ended.err


def test_without_a_workspace_every_stage_says_how_to_make_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, seamtell: Call
) -> None:
    monkeypatch.chdir(tmp_path)
    for command in ("describe", "train", "classify", "mix", "rejected"):
        ended = seamtell(command)
        assert_one_line(ended, ExitCode.BAD_INPUT)
        assert "seamtell init" in ended.err


def test_input_that_is_all_bad_ends_with_the_code_for_rejections(here: Workspace, seamtell: Call) -> None:
    assert seamtell("ingest", "garbage.csv").code == ExitCode.DONE_WITH_REJECTIONS
    assert seamtell("sections", "add", "sections.csv").code == ExitCode.DONE_WITH_REJECTIONS


def test_words_that_are_no_command_end_with_the_code_for_usage(seamtell: Call) -> None:
    assert seamtell("weld").code == ExitCode.USAGE
    assert seamtell("train", "--fast").code == ExitCode.USAGE
    assert seamtell("synth", "s", "--seams", "-5", "--seed", "1").code == ExitCode.USAGE


@pytest.mark.parametrize(
    ("number", "said"),
    [
        (errno.ENOSPC, "the disk is full"),
        (errno.EROFS, "the disk is read-only"),
        (errno.EACCES, "no permission"),
    ],
)
def test_a_disk_that_fails_where_nobody_expected_it_is_one_line_all_the_same(
    here: Workspace, seamtell: Call, monkeypatch: pytest.MonkeyPatch, number: int, said: str
) -> None:
    def fail(*_: object, **__: object) -> None:
        raise OSError(number, "as the system words it", "somewhere")

    monkeypatch.setattr("seamtell.pipeline.describe.describe", fail)
    ended = seamtell("describe")
    assert_one_line(ended, ExitCode.STORAGE)
    assert f"somewhere: {said}" in ended.err


@pytest.mark.parametrize("command", ["init", "synth", "ingest"])
def test_a_folder_that_cannot_be_written_is_one_line(
    here: Workspace, seamtell: Call, monkeypatch: pytest.MonkeyPatch, command: str
) -> None:
    # The super-user may write anywhere, so the refusal is simulated where files and folders are made.
    def refuse(path: Path, *_: object, **__: object) -> None:
        raise PermissionError(errno.EACCES, "Permission denied", str(path))

    monkeypatch.setattr(Path, "mkdir", refuse)
    words = {"init": ["new"], "synth": ["new", "--seams", "2", "--seed", "1"], "ingest": ["seam.csv"]}
    assert_one_line(seamtell(command, *words[command]), ExitCode.STORAGE)


@pytest.mark.parametrize("command", ["descriptors", "criteria check", "log --json"])
def test_a_reader_that_goes_away_is_no_fault(here: Workspace, command: str) -> None:
    reading, writing = os.pipe()
    os.close(reading)
    ended = subprocess.run(
        [sys.executable, "-c", ENTRY, *command.split()], stdout=writing, stderr=subprocess.PIPE, check=False
    )
    os.close(writing)
    assert (ended.returncode, ended.stderr) == (ExitCode.DONE, b"")


def test_output_that_finds_the_disk_full_is_one_line(here: Workspace) -> None:
    with Path("/dev/full").open("wb") as full:
        ended = subprocess.run(
            [sys.executable, "-c", ENTRY, "log"], stdout=full, stderr=subprocess.PIPE, check=False
        )
    assert ended.returncode == ExitCode.STORAGE
    assert ended.stderr.count(b"\n") == 1


def test_without_a_standard_output_the_job_is_done_all_the_same(here: Workspace) -> None:
    ended = subprocess.run(
        ["sh", "-c", 'exec "$0" -c "$1" descriptors >&-', sys.executable, ENTRY],
        stderr=subprocess.PIPE,
        check=False,
    )
    assert (ended.returncode, ended.stderr) == (ExitCode.DONE, b"")


def test_a_user_who_stops_a_command_is_told_so(
    here: Workspace, seamtell: Call, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stop(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("seamtell.pipeline.describe.describe", stop)
    ended = seamtell("describe")
    assert ended.code == 130
    assert ended.err.startswith("error: stopped by the user")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("profile", "guess", "seam.csv", "--out", "garbage.csv/p.toml"), "a file stands where a folder"),
        (("init", "garbage.csv/ws"), "part of this path is a file"),
        (("init", "x" * 300), "the name is too long"),
    ],
)
def test_a_place_where_nothing_can_be_written_is_named(
    here: Workspace, seamtell: Call, words: tuple[str, ...], said: str
) -> None:
    ended = seamtell(*words)
    assert_one_line(ended, ExitCode.STORAGE)
    assert said in ended.err
