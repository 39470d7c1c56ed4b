from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from seamtell.pipeline.cli import app
from seamtell.pipeline.console import ExitCode
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.init import default_file, init_workspace


def invoke(*words: object):
    return CliRunner().invoke(app, ["physics", *map(str, words)])


@pytest.fixture
def runs(lab, physics_and_blank, tmp_path) -> Path:
    for number in (1, 2, 3):
        lab.write_run(tmp_path / "runs", lab.run(physics_and_blank[1], number))
    return tmp_path / "runs"


@pytest.fixture
def blank_path(lab, tmp_path) -> Path:
    path = tmp_path / "blank.toml"
    path.write_text(lab.BLANK)
    return path


def test_the_template_is_what_init_writes():
    result = invoke("template")
    assert result.exit_code == 0
    assert result.stdout.encode() == default_file("physics.toml")


def test_check_shows_heads_sheets_expected_flaws_and_where_they_lie(workspace):
    result = invoke("check", "-w", workspace.root)
    assert result.exit_code == 0, result.output
    for shown in ("default", "5.38", "2.69", "never fitted", "R1", "lack_of_fusion", "length_mm 5 to 80"):
        assert shown in result.output
    assert "default, R1" in result.output
    assert "at most 1.615 mm MHz" in result.output


def test_check_warns_of_what_is_strained(workspace):
    text = workspace.physics_path.read_text().replace("scatter_tilt_sin = 0.4", "scatter_tilt_sin = 0.46")
    workspace.physics_path.write_text(text)
    result = invoke("check", "-w", workspace.root)
    assert result.exit_code == 0, result.output
    assert "warning: default: share of the scatter beam beyond the critical angle 0.128" in result.stderr


def test_check_prints_one_json_document(workspace):
    document = json.loads(invoke("check", "-w", workspace.root, "--json").stdout)
    assert document["heads"][0]["beam_width_mm"] == pytest.approx(9.4, abs=0.1)
    assert document["recipes"]["R1"]["sheet_b_mm"] == 1.3
    assert {note["verdict"] for note in document["range"]} == {"inside"}


def test_check_of_an_untouched_template_says_what_to_fill_in(tmp_path):
    result = invoke("check", "-w", init_workspace(tmp_path / "ws").root)
    assert result.exit_code == 0, result.output
    assert "Next: add tables [head.default] and [recipe.NAME]" in result.output


@pytest.mark.parametrize("words", [("check",), ("fit", "blank.toml", "x.csv", "--line", "L1")])
def test_a_workspace_of_before_is_told_how_to_get_the_file(workspace, words):
    workspace.physics_path.unlink()
    result = invoke(*words, "-w", workspace.root)
    assert isinstance(result.exception, BadInput)
    assert result.exception.exit_code == ExitCode.BAD_INPUT
    assert "no physics.toml" in str(result.exception)
    assert "seamtell physics template > physics.toml" in str(result.exception)


def test_fit_states_every_figure_with_its_interval_and_the_caution(workspace, blank_path, runs):
    result = invoke("fit", blank_path, runs, "--line", "L1", "-w", workspace.root)
    assert result.exit_code == 0, result.output
    for shown in ("mean of 3 runs [95 % interval]", "gain, specular", "aperture", "two-way beam", "REF-2"):
        assert shown in result.output
    assert "notch 6 x 0.6 mm at 95 mm" in result.output
    assert "caution: an aid to a qualified person" in result.output
    assert (workspace.physics_dir / "fits" / "L1.toml").is_file()
    assert "fitted: specular -1." in invoke("check", "-w", workspace.root).output


def test_fit_prints_one_json_document(workspace, blank_path, runs):
    result = invoke("fit", blank_path, runs, "--line", "L1", "-w", workspace.root, "--json")
    document = json.loads(result.stdout)
    assert document["n_runs"] == 3
    assert document["gain_db"]["scatter"]["low"] < 0.8 < document["gain_db"]["scatter"]["high"]


def test_fit_of_one_run_says_that_no_interval_is_known(workspace, blank_path, runs):
    result = invoke("fit", blank_path, runs / "REF-1.csv", "--line", "L1", "-w", workspace.root)
    assert "dB [unknown]" in result.output
    assert "warning: one run: no interval can be stated" in result.stderr


def test_fit_warns_of_a_flaw_that_did_not_come_back(lab, physics_and_blank, workspace, blank_path, tmp_path):
    _, blank = physics_and_blank
    there = [flaw.geometry for flaw in blank.flaws[:2]]
    path = lab.write_run(tmp_path, lab.run(blank, 5, flaws=there))
    result = invoke("fit", blank_path, path, "--line", "L1", "-w", workspace.root)
    assert result.exit_code == 0, result.output
    assert "warning: hole 0.8 mm at 140 mm did not come back and was left out" in result.stderr


def test_fit_of_the_wrong_line_changes_nothing(workspace, blank_path, runs):
    result = invoke("fit", blank_path, runs, "--line", "L2", "-w", workspace.root)
    assert isinstance(result.exception, BadInput)
    assert "is of line 'L1', expected 'L2'" in str(result.exception)
    assert not workspace.physics_dir.exists()
