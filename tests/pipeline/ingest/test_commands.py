from __future__ import annotations

import json

import pytest
import typer
from typer.testing import CliRunner

from seamtell.pipeline.commands import ingest as ingest_commands
from seamtell.pipeline.commands import sections as section_commands
from seamtell.pipeline.commands import workspace as workspace_commands
from seamtell.pipeline.console import ExitCode
from seamtell.pipeline.errors import BadInput, WorkspaceBusy
from seamtell.pipeline.files.locking import workspace_lock


@pytest.fixture
def call(shop):
    app = typer.Typer()
    for area in (workspace_commands, ingest_commands, section_commands):
        area.register(app)

    def run(*words, in_workspace=True):
        options = ["--workspace", str(shop.ws.root)] if in_workspace else []
        return CliRunner().invoke(app, [*map(str, words), *options])

    return run


def test_a_clean_ingest_ends_with_zero_and_says_what_next(shop, call):
    result = call("ingest", shop.write(shop.text()))
    assert result.exit_code == ExitCode.DONE
    assert "Next: seamtell" in result.output


def test_an_ingest_with_rejections_ends_with_three_and_lists_them(shop, call):
    shop.write(shop.text())
    shop.write("rubbish", "bad.csv")
    result = call("ingest", shop.inbox)
    assert result.exit_code == ExitCode.DONE_WITH_REJECTIONS
    assert "missing_column" in result.output
    assert "Next: seamtell rejected" in result.output


def test_json_is_one_document(shop, call):
    shop.write("rubbish", "bad.csv")
    result = call("ingest", shop.inbox, "--json")
    assert json.loads(result.stdout)["rows"][0]["reason"] == "missing_column"


def test_rejected_lists_what_is_open_and_on_wish_all(shop, call):
    path = shop.write("rubbish")
    call("ingest", path)
    assert "missing_column" in call("rejected").output
    shop.write(shop.text())
    call("ingest", path)
    assert "Nothing is open." in call("rejected").output
    assert "resolved" in call("rejected", "--all").output
    assert json.loads(call("rejected", "--all", "--json").stdout)[0]["status"] == "resolved"


def test_a_conflict_is_settled_from_the_command_line(shop, call):
    call("ingest", shop.write(shop.text(), "a.csv"))
    call("ingest", shop.write(shop.text(shop.rows(seed=5)), "b.csv"))
    assert call("conflict", "keep", "S1", "incoming").exit_code == ExitCode.DONE
    assert shop.store.conflicts() == frozenset()
    assert call("conflict", "keep", "S1", "neither").exit_code == ExitCode.USAGE


def test_profile_check_shows_samples_and_fails_with_the_reason(shop, call):
    good = call("profile", "check", shop.write(shop.text()))
    assert good.exit_code == ExitCode.DONE
    assert "seam 'S1': 40 samples from 0 to 9.75 mm" in good.output
    bad = call("profile", "check", shop.write("a;b\n1;2\n"))
    assert bad.exit_code == ExitCode.BAD_INPUT
    assert "error: line or row 1: missing_column" in bad.output


def test_profile_guess_prints_or_writes_and_never_overwrites(shop, call):
    path = shop.write(shop.text())
    out = shop.inbox / "p.toml"
    assert "[channels]" in call("profile", "guess", path, in_workspace=False).output
    assert call("profile", "guess", path, "--out", out, in_workspace=False).exit_code == ExitCode.DONE
    assert isinstance(call("profile", "guess", path, "--out", out, in_workspace=False).exception, BadInput)


def test_init_makes_a_workspace_and_says_what_next(shop, call):
    result = call("init", shop.inbox / "new", in_workspace=False)
    assert result.exit_code == ExitCode.DONE
    assert "Next: fill in" in result.output
    assert (shop.inbox / "new" / "seamtell.toml").is_file()


def test_sections_add_ends_with_three_when_a_row_is_bad(shop, call):
    call("ingest", shop.write(shop.text()))
    names = "section_id,seam_id,position_mm,position_tol_mm,flaw,purpose"
    table = shop.write(f"{names}\nX1,S1,5,1,pinhole,random\nX2,S1,5,1,crack,random\n", "sections.csv")
    result = call("sections", "add", table)
    assert result.exit_code == ExitCode.DONE_WITH_REJECTIONS
    assert "unknown_label" in result.output
    assert json.loads(call("sections", "add", table, "--json").stdout)["unchanged"] == 1


def test_a_busy_workspace_is_an_error_of_its_own_code(shop, call):
    shop.write(shop.text())
    with workspace_lock(shop.ws):
        result = call("ingest", shop.inbox)
    assert isinstance(result.exception, WorkspaceBusy)
    assert result.exception.exit_code == ExitCode.BUSY


def test_terminal_output_of_a_hostile_seam_id_holds_no_control_characters(shop, call):
    result = call("ingest", shop.write(shop.text(seam_id="\x1b[31mred")))
    assert "\x1b" not in result.output


def test_what_comes_next_names_the_profile_that_was_checked(shop, call):
    shop.profile("description = 'mine'")
    good = call("profile", "check", shop.write(shop.text()), "--profile", "shop")
    assert f"Next: seamtell ingest {shop.inbox} --profile shop" in good.output
    bad = call("profile", "check", shop.write("a;b\n1;2\n"), "--profile", "shop")
    assert "a.csv --profile shop" in bad.output


@pytest.mark.parametrize("words", ["sections add", "profile check", "profile guess"])
def test_a_folder_where_one_file_is_wanted_is_called_a_folder(shop, call, words):
    result = call(*words.split(), shop.inbox, in_workspace="guess" not in words)
    assert isinstance(result.exception, BadInput)
    assert "a folder, expected one file" in str(result.exception)
