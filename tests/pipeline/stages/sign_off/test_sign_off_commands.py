"""``evaluate``, ``approve``, ``log`` and ``criteria check`` as a person calls them."""

from __future__ import annotations

import json

import pytest
import typer
from typer.testing import CliRunner

from seamtell.pipeline import approve as approve_module
from seamtell.pipeline.approve import ApprovalRefused
from seamtell.pipeline.commands import approve as approve_commands
from seamtell.pipeline.commands import criteria as criteria_commands
from seamtell.pipeline.commands import evaluate as evaluate_commands
from seamtell.pipeline.console import CAUTION, ExitCode
from seamtell.pipeline.tracking import evaluation_run as evaluation_tracking
from seamtell.pipeline.workspace import Workspace


@pytest.fixture(scope="module")
def app() -> typer.Typer:
    app = typer.Typer()
    evaluate_commands.register(app)
    approve_commands.register(app)
    criteria_commands.register(app)
    return app


@pytest.fixture(autouse=True)
def _told_in_other_tests(evaluated, monkeypatch: pytest.MonkeyPatch) -> None:
    """The stage and the tracking have their own tests; here it is parsing and printing."""
    monkeypatch.setattr("seamtell.pipeline.evaluate.evaluate", lambda ws, model, *, now: evaluated[1])
    monkeypatch.setattr(evaluation_tracking, "record_evaluation", lambda *args, **kwargs: True)
    monkeypatch.setattr(approve_module, "set_alias", lambda *args, **kwargs: True)


@pytest.fixture
def call(app: typer.Typer, ws: Workspace):
    def run(*words: str):
        return CliRunner().invoke(app, [*words, "--workspace", str(ws.root)])

    return run


def test_evaluate_prints_tables_caution_and_the_next_step(call) -> None:
    done = call("evaluate", "m-0001")
    assert done.exit_code == ExitCode.DONE
    for words in ("truth \\ answer", "lightgbm", "Limit rule alone", "Missed among flaws found: unknown"):
        assert words in done.stdout
    assert CAUTION in done.stdout
    assert "Next: seamtell approve m-0001 --by NAME --reason TEXT" in done.stdout


def test_evaluate_json_is_one_document_equal_to_the_file(call, ws: Workspace) -> None:
    printed = json.loads(call("evaluate", "m-0001", "--json").stdout)
    assert printed == json.loads((ws.reports_dir / "m-0001" / "evaluation.json").read_text())


def test_evaluate_says_when_the_tracking_server_is_down(call, monkeypatch) -> None:
    monkeypatch.setattr(evaluation_tracking, "record_evaluation", lambda *args, **kwargs: False)
    done = call("evaluate", "m-0001")
    assert done.exit_code == ExitCode.DONE_WITHOUT_TRACKING
    assert "seamtell track push" in done.stderr


def test_approve_shows_each_criterion_with_its_figure_and_the_log_shows_who(call) -> None:
    done = call("approve", "m-0001", "--by", "R. Tern", "--reason", "=1+1 first model")
    assert done.exit_code == ExitCode.DONE
    for words in ("macro_f1", "≥ 0.2", "pass", "Approved: m-0001 by R. Tern", CAUTION):
        assert words in done.stdout
    log = call("log")
    for words in ("m-0001", "approved", "R. Tern", "=1+1 first model", "The chain of 1 entries holds"):
        assert words in log.stdout
    (entry,) = json.loads(call("log", "--json").stdout)
    assert entry["by"] == "R. Tern"


def test_a_refused_approval_shows_the_criteria_and_is_an_error(
    call, ws: Workspace, easy_criteria: str
) -> None:
    ws.criteria_path.write_text(easy_criteria.replace("0.2", "0.9999"))
    done = call("approve", "m-0001", "--by", "R. Tern", "--reason", "try")
    assert isinstance(done.exception, ApprovalRefused)
    assert done.exception.exit_code == ExitCode.REFUSED
    assert "FAIL" in done.stdout
    as_json = json.loads(call("approve", "m-0001", "--by", "R. Tern", "--reason", "try", "--json").stdout)
    assert as_json["approved"] is False
    assert as_json["criteria"][0]["passed"] is False
    assert "Nothing was approved yet" in call("log").stdout


def test_approve_json_holds_the_entry(call) -> None:
    document = json.loads(call("approve", "m-0001", "--by", "A", "--reason", "B", "--json").stdout)
    assert document["approved"] is True
    assert document["entry"]["model_id"] == "m-0001"


def test_a_registry_that_is_down_is_a_warning_and_the_approval_holds(call, monkeypatch) -> None:
    monkeypatch.setattr(approve_module, "set_alias", lambda *args, **kwargs: False)
    done = call("approve", "m-0001", "--by", "A", "--reason", "B")
    assert done.exit_code == ExitCode.DONE_WITHOUT_TRACKING
    assert "the approval holds" in done.stderr
    assert "m-0001" in call("log").stdout


def test_criteria_check_says_each_criterion_in_a_sentence(call) -> None:
    done = call("criteria", "check")
    assert "the macro-F1 without abstention must be at least 0.2 at the low end" in done.stdout
    document = json.loads(call("criteria", "check", "--json").stdout)
    assert document["criteria"][0]["id"] == "macro_f1"


def test_help_names_the_model_argument(app: typer.Typer) -> None:
    assert "MODEL" in CliRunner().invoke(app, ["approve", "--help"]).stdout
