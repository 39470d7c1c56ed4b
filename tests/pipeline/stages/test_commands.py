"""The commands as a user types them: output, warnings, exit codes."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
import typer
from typer.testing import CliRunner, Result

from seamtell.pipeline.commands import classify as classify_command
from seamtell.pipeline.commands import describe as describe_command
from seamtell.pipeline.commands import mix as mix_command
from seamtell.pipeline.commands import train as train_command
from seamtell.pipeline.commands.classify import month_bounds
from seamtell.pipeline.console import CAUTION, ExitCode
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.train import TrainResult
from seamtell.pipeline.workspace import Workspace

Trained = tuple[Workspace, TrainResult]

app = typer.Typer()
for area in (describe_command, train_command, classify_command, mix_command):
    area.register(app)


def call(ws: Workspace, *words: str | Path) -> Result:
    return CliRunner().invoke(app, [*map(str, words), "--workspace", str(ws.root)])


def test_describe_says_how_many_and_where(untrained_copy: Workspace) -> None:
    result = call(untrained_copy, "describe")
    assert result.exit_code == ExitCode.DONE
    assert "120 indications of 130 seams" in result.stdout
    assert (untrained_copy.described_dir / "described.json").is_file()


def test_describe_gives_one_json_document(untrained_copy: Workspace, tmp_path: Path) -> None:
    result = call(untrained_copy, "describe", "--json", "--out", tmp_path / "out")
    assert json.loads(result.stdout)["indications"] == 120


def test_train_with_the_server_down_prints_the_table_and_ends_with_its_own_code(
    untrained_copy: Workspace, quick_settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    quick_settings(untrained_copy)
    monkeypatch.setenv("MLFLOW_TRACKING_URI", "http://127.0.0.1:9")
    result = call(untrained_copy, "train")
    assert result.exit_code == ExitCode.DONE_WITHOUT_TRACKING
    for word in ("prior", "hand_rule", "chosen", "lack_of_fusion", CAUTION, "Next: seamtell evaluate m-0001"):
        assert word in result.stdout
    assert "seamtell track push" in result.stderr
    assert "sections of pinhole: its intervals will be wide" in result.stderr

    pushed = call(untrained_copy, "track", "push")
    assert pushed.exit_code == ExitCode.DONE_WITHOUT_TRACKING
    assert "0 sent, 1 waiting." in pushed.stdout
    assert "127.0.0.1:9" in pushed.stderr


def test_train_gives_one_json_document_without_a_nan(
    untrained_copy: Workspace, quick_settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    quick_settings(untrained_copy)
    monkeypatch.setenv("MLFLOW_TRACKING_URI", "http://127.0.0.1:9")
    document = json.loads(call(untrained_copy, "train", "--json").stdout)
    assert document["model_id"] == "m-0001"
    assert [c["name"] for c in document["candidates"]] == ["prior", "hand_rule"]
    assert document["candidates"][0]["size_band_log_loss"] is None
    assert document["tracked"] is False


def test_a_push_with_nothing_to_send_is_done(untrained_copy: Workspace) -> None:
    result = call(untrained_copy, "track", "push", "--json")
    assert result.exit_code == ExitCode.DONE
    assert json.loads(result.stdout) == {"sent": [], "waiting": [], "mended": [], "problem": ""}


def test_classify_prints_counts_caution_and_the_next_step(trained: Trained, tmp_path: Path) -> None:
    result = call(trained[0], "classify", "--month", "2026-02", "--out", tmp_path / "out")
    assert result.exit_code == ExitCode.DONE
    for word in ("Seams by verdict", "reject", "Indications by label", "mismatch", "Model: m-0001", CAUTION):
        assert word in result.stdout
    assert result.stdout.splitlines()[-1].startswith("Next: seamtell mix")


def test_classify_without_a_model_warns_and_counts_the_reason(shop_copy: Workspace, tmp_path: Path) -> None:
    shop_copy.log_path.unlink()
    result = call(shop_copy, "classify", "--seam", "S0001", "--seam", "S0002", "--out", tmp_path / "out")
    assert result.exit_code == ExitCode.DONE
    assert "the limit rule decided alone: no model is approved" in result.stderr
    assert "no_approved_model" in result.stdout
    assert "2 seams, 2 indications. Model: none, limit rule alone" in result.stdout
    mix = call(shop_copy, "mix", "--decisions", tmp_path / "out")
    assert "a flaw with count 0 was not looked for" in mix.stderr


def test_the_last_day_of_until_is_inside(trained: Trained, tmp_path: Path) -> None:
    days = ("--since", "2026-01-01", "--until", "2026-01-01", "--json", "--out", tmp_path / "out")
    document = json.loads(call(trained[0], "classify", *days).stdout)
    # One seam every 18 hours from midnight: two on the first day.
    assert document["counts"]["seams"] == 2
    assert document["until"] == "2026-01-02T00:00:00Z"


def test_a_month_and_a_day_together_are_refused(trained: Trained) -> None:
    result = call(trained[0], "classify", "--month", "2026-02", "--since", "2026-02-03")
    assert isinstance(result.exception, BadInput)
    assert "say either --month or --since/--until" in str(result.exception)


def test_the_last_day_of_all_has_no_day_after_it(trained: Trained) -> None:
    result = call(trained[0], "classify", "--until", "9999-12-31")
    assert isinstance(result.exception, BadInput)
    assert "--until: got 9999-12-31" in str(result.exception)


@pytest.mark.parametrize("text", ["2026", "2026-13", "February", "2026-02-01", "9999-12"])
def test_what_is_not_a_month_is_named(text: str) -> None:
    with pytest.raises(BadInput, match=f"got '{text}', expected a month"):
        month_bounds(text)


def test_a_month_ends_where_the_next_begins() -> None:
    assert month_bounds("2028-02") == (datetime(2028, 2, 1, tzinfo=UTC), datetime(2028, 3, 1, tzinfo=UTC))


def test_mix_warns_that_raw_labels_are_not_corrected(trained: Trained, tmp_path: Path) -> None:
    call(trained[0], "classify", "--out", tmp_path / "out")
    result = call(
        trained[0], "mix", "--by", "line", "--decisions", tmp_path / "out", "--csv", tmp_path / "m.csv"
    )
    assert result.exit_code == ExitCode.DONE
    assert "not yet corrected for the classifier's confusion" in result.stderr
    for word in ("L1", "L2", "sound (false indication)", "unclassified", "95 % interval", CAUTION):
        assert word in result.stdout
    assert (tmp_path / "m.csv").read_text().startswith("line,label,count")


def test_mix_refuses_periods_that_are_none_or_hold_nothing(trained: Trained, tmp_path: Path) -> None:
    call(trained[0], "classify", "--out", tmp_path / "out")
    for arguments, says in (
        (("--period", "last week"), "no period: 'last week'"),
        (("--period", "1999-01"), "no decided seam was welded in 1999-01"),
        (("--period", "2025-01", "--period", "2025-02", "--by", "line"), "several periods and a column"),
    ):
        done = call(trained[0], "mix", "--decisions", tmp_path / "out", *arguments)
        assert isinstance(done.exception, BadInput)
        assert says in str(done.exception)


def test_mix_gives_one_json_document_with_the_warning(trained: Trained, tmp_path: Path) -> None:
    call(trained[0], "classify", "--out", tmp_path / "out")
    document = json.loads(call(trained[0], "mix", "--json", "--decisions", tmp_path / "out").stdout)
    assert "raw labels" in document["warning"]
    assert sum(share["count"] for share in document["shares"]) == 120
