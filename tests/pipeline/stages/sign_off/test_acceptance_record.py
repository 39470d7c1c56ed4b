"""The acceptance record of an evaluated model: its file, and what the commands say of it."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner, Result

from seamtell.pipeline import approve as approve_module
from seamtell.pipeline.acceptance.record import Rival
from seamtell.pipeline.approve import ApprovalRefused
from seamtell.pipeline.commands import approve as approve_commands
from seamtell.pipeline.commands import criteria as criteria_commands
from seamtell.pipeline.commands import evaluate as evaluate_commands
from seamtell.pipeline.console import ExitCode
from seamtell.pipeline.errors import BadInput, Refused
from seamtell.pipeline.evaluation.acceptance_evidence import approved_answers
from seamtell.pipeline.evaluation.evidence import gather_evidence
from seamtell.pipeline.evaluation.files import ACCEPTANCE_FILE, evaluation_digest, read_acceptance
from seamtell.pipeline.tracking import evaluation_run as evaluation_tracking
from seamtell.pipeline.workspace import Workspace

NO_WARNINGS = """
[[criterion]]
id = "not_too_good"
statistic = "warnings"
bound = 0
interval = "estimate"
"""


@pytest.fixture
def folder(ws: Workspace) -> Path:
    return ws.reports_dir / "m-0001"


@pytest.fixture
def too_good(folder: Path) -> None:
    """Write a warning into the record, as a leaking descriptor would."""
    document = json.loads((folder / ACCEPTANCE_FILE).read_text())
    document["warnings"] = ["Implausibly good: made up in a test"]
    (folder / ACCEPTANCE_FILE).write_text(json.dumps(document))


@pytest.fixture
def call(ws: Workspace, evaluated, monkeypatch: pytest.MonkeyPatch) -> Callable[..., Result]:
    monkeypatch.setattr("seamtell.pipeline.evaluate.evaluate", lambda ws, model, *, now: evaluated[1])
    monkeypatch.setattr(evaluation_tracking, "record_evaluation", lambda *args, **kwargs: True)
    monkeypatch.setattr(approve_module, "set_alias", lambda *args, **kwargs: True)
    app = typer.Typer()
    for area in (evaluate_commands, approve_commands, criteria_commands):
        area.register(app)
    return lambda *words: CliRunner().invoke(app, [*words, "--workspace", str(ws.root)])


def test_the_record_names_the_evaluation_it_belongs_to(evaluated, folder: Path) -> None:
    record = read_acceptance(folder)
    assert record.evaluation_digest == evaluation_digest(folder)
    assert (record.model_id, record.model_digest) == ("m-0001", evaluated[1].model_digest)


def test_a_record_of_another_evaluation_is_refused(folder: Path) -> None:
    path = folder / "evaluation.json"
    path.write_text(path.read_text().replace('"seed": 1', '"seed": 2'))
    with pytest.raises(Refused, match="of another evaluation"):
        read_acceptance(folder)


def test_a_record_that_is_not_whole_is_refused(folder: Path) -> None:
    (folder / ACCEPTANCE_FILE).write_text("{}")
    with pytest.raises(Refused, match="not a whole acceptance record"):
        read_acceptance(folder)


def test_a_missing_record_says_what_to_run(folder: Path) -> None:
    (folder / ACCEPTANCE_FILE).unlink()
    with pytest.raises(BadInput, match="no acceptance figures") as problem:
        read_acceptance(folder)
    assert problem.value.do == "run 'seamtell evaluate m-0001'"


def test_only_targeted_cuts_leave_the_corrected_miss_rate_unknown(folder: Path) -> None:
    for rate in read_acceptance(folder).miss_rates:
        assert rate.corrected.estimate is None
        assert rate.exact_high is None
        assert "no random cut" in rate.words


def test_every_figure_family_is_in_the_record(folder: Path) -> None:
    record = read_acceptance(folder)
    assert {one.label for one in record.detection} == {"pinhole", "edge_notch", "lack_of_fusion", "mismatch"}
    assert {one.by for one in record.strata} >= {"recipe", "line", "thickness_pair", "period"}
    assert {one.figure for one in record.comparisons} == {"detected", "expected_cost"}
    assert len(record.costs) == 4
    assert record.weighted_kappa.estimate is not None
    assert record.tolerance
    assert record.label_errors
    assert record.agreement is None


def test_the_tolerance_in_use_gives_the_figures_of_the_evaluation(evaluated, folder: Path) -> None:
    held_out = evaluated[1].held_out
    for curve in read_acceptance(folder).tolerance:
        (here,) = [one for one in curve.figures if one.extra_tolerance_mm == curve.in_use_mm]
        if curve.name == "macro_f1":
            assert here.figure == held_out.macro_f1
        if curve.name == "abstained":
            assert here.figure.count == held_out.abstention.count


def test_a_second_model_is_compared_with_the_approved_one_on_equal_terms(
    ws: Workspace, approve_quietly, evaluated
) -> None:
    shutil.copytree(ws.models_dir / "m-0001", ws.models_dir / "m-0002")
    approve_quietly(ws, "m-0001", evaluated[1].model_digest)
    evidence = replace(gather_evidence(ws, "m-0002"), model_id="m-0002")
    compared = approved_answers(evidence)
    assert (compared.model_id, compared.why_not) == ("m-0001", "")
    assert compared.answers.sections.frame["section_id"].tolist() == sorted(
        evidence.labelled.matched.loc[evidence.scopes.held_out, "section_id"]
    )


def test_the_approved_model_itself_has_no_rival_but_the_limit_rule(
    ws: Workspace, approve_quietly, evaluated
) -> None:
    approve_quietly(ws, "m-0001", evaluated[1].model_digest)
    assert approved_answers(gather_evidence(ws, "m-0001")).model_id == ""
    assert {one.rival for one in read_acceptance(ws.reports_dir / "m-0001").comparisons} == {Rival.LIMIT_RULE}


def test_an_approved_model_that_was_altered_is_named_and_not_compared(ws: Workspace, approve_quietly) -> None:
    shutil.copytree(ws.models_dir / "m-0001", ws.models_dir / "m-0002")
    approve_quietly(ws, "m-0001", "0" * 64)
    compared = approved_answers(replace(gather_evidence(ws, "m-0002"), model_id="m-0002"))
    assert compared.answers is None
    assert "'m-0001' could not be compared: it is not the model that was signed" in compared.why_not


@pytest.mark.usefixtures("too_good")
def test_what_is_too_good_is_said_at_evaluation_and_at_approval(call) -> None:
    assert "warning: Implausibly good" in call("evaluate", "m-0001").stderr
    done = call("approve", "m-0001", "--by", "R. Tern", "--reason", "seen, and explained")
    assert done.exit_code == ExitCode.DONE
    assert "warning: Implausibly good" in done.stderr


@pytest.mark.usefixtures("too_good")
def test_what_is_too_good_bars_the_approval_where_the_criteria_say_so(call, ws: Workspace) -> None:
    ws.criteria_path.write_text(NO_WARNINGS)
    done = call("approve", "m-0001", "--by", "R. Tern", "--reason", "try")
    assert isinstance(done.exception, ApprovalRefused)
    assert "warning: Implausibly good" in done.stderr


def test_criteria_check_says_how_many_sections_a_model_needs(call) -> None:
    done = call("criteria", "check", "--model", "m-0001")
    assert "What m-0001 needs, if its performance stays as seen" in done.stdout
    document = json.loads(call("criteria", "check", "--model", "m-0001", "--json").stdout)
    (only,) = document["needed"]
    assert only["id"] == "macro_f1"
    assert only["needed"] <= only["have"]
