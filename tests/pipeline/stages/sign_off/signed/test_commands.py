"""``withdraw``, ``reinstate``, ``verify``, ``anchor``, ``key`` and deviations, as a person calls them."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from seamtell.pipeline.commands import approve, classify, keys, verify, withdraw
from seamtell.pipeline.console import CAUTION, ExitCode
from seamtell.pipeline.errors import BadInput, Refused
from seamtell.pipeline.sign_off.approval_log import read_log
from seamtell.pipeline.workspace import Workspace

pytestmark = pytest.mark.usefixtures("_no_registry")

BY = ("--by", "A. Knot", "--reason", "to be sure")
FAR = "2026-12-31"


@pytest.fixture(scope="module")
def app() -> typer.Typer:
    app = typer.Typer()
    for area in (approve, withdraw, verify, keys, classify):
        area.register(app)
    return app


@pytest.fixture
def call(app: typer.Typer, shop: Workspace):
    def run(*words: str, inside: bool = True):
        return CliRunner().invoke(app, [*words, *(["--workspace", str(shop.root)] if inside else [])])

    return run


def test_withdraw_says_that_the_limit_rule_decides_alone_and_the_log_shows_who(call) -> None:
    done = call("withdraw", "m-0001", *BY)
    assert done.exit_code == ExitCode.DONE
    for words in ("Withdrawn: m-0001 by A. Knot, entry 4", "the limit rule decides alone", CAUTION):
        assert words in done.stdout
    log = call("log").stdout
    assert "withdraw" in log
    assert "A. Knot" in log


def test_withdraw_and_reinstate_print_one_document(call, shop: Workspace) -> None:
    document = json.loads(call("withdraw", "m-0001", *BY, "--json").stdout)
    assert (document["was_at_work"], document["entry"]["action"]) == (True, "withdraw")
    assert isinstance(call("reinstate", *BY, "--json").exception, Refused)


def test_verify_lists_every_check_and_ends_well(call) -> None:
    done = call("verify", "--no-registry")
    assert done.exit_code == ExitCode.DONE
    for words in ("the chain of 3 entries holds", "sectioned traces as signed", "say --anchor FILE"):
        assert words in done.stdout
    document = json.loads(call("verify", "--no-registry", "--json").stdout)
    assert document["verified"] is True
    assert {"name", "outcome", "text"} == set(document["checks"][0])


def test_verify_names_the_first_mismatch_and_has_an_exit_code_of_its_own(call, shop: Workspace) -> None:
    shop.limits_path.write_text(shop.limits_path.read_text() + "# a remark\n")
    done = call("verify", "--no-registry")
    assert done.exit_code == ExitCode.NOT_VERIFIED == 9
    assert "error: limits: limits.toml was changed since entry 3" in done.stderr
    document = json.loads(call("verify", "--no-registry", "--json").stdout)
    assert (document["verified"], document["first_mismatch"]) == (False, "limits")


def test_an_anchor_kept_elsewhere_shows_a_cut_log(call, shop: Workspace, tmp_path: Path) -> None:
    path = tmp_path / "anchor.json"
    assert call("anchor", "--out", str(path)).exit_code == ExitCode.DONE
    assert json.loads(call("anchor").stdout)["seq"] == 3
    shop.log_path.write_bytes(b"".join(shop.log_path.read_bytes().splitlines(keepends=True)[:1]))
    done = call("verify", "--no-registry", "--anchor", str(path))
    assert done.exit_code == ExitCode.NOT_VERIFIED
    assert "the log was cut" in done.stderr


def test_a_key_is_made_trusted_and_signs(call, shop: Workspace, tmp_path: Path) -> None:
    secret = tmp_path / "passphrase"
    secret.write_text("correct horse\n")
    made = call(
        "key",
        "new",
        "--out",
        str(tmp_path / "home"),
        "--name",
        "knot",
        "--passphrase-file",
        str(secret),
        inside=False,
    )
    assert made.exit_code == ExitCode.DONE
    assert "(encrypted)" in made.stdout
    assert (
        call("key", "trust", str(tmp_path / "home" / "knot.pem"), "--name", "knot").exit_code == ExitCode.DONE
    )
    private = str(tmp_path / "home" / "knot.private.pem")
    assert isinstance(call("withdraw", "m-0001", *BY, "--key", private).exception, BadInput)
    done = call("withdraw", "m-0001", *BY, "--key", private, "--passphrase-file", str(secret))
    assert done.exit_code == ExitCode.DONE
    assert read_log(shop)[-1].signature is not None
    assert "4 by 'knot'" in call("verify", "--no-registry").stdout


def test_an_unencrypted_key_says_what_that_means(call, tmp_path: Path) -> None:
    made = call("key", "new", "--out", str(tmp_path / "home"), inside=False)
    assert "whoever can read the file can sign" in made.stdout


def test_a_deviation_is_shown_when_it_is_signed_in_the_log_and_when_it_labels(
    call, shop: Workspace, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shop.criteria_path.write_text(shop.criteria_path.read_text().replace("0.2", "0.9999"))
    words = ("--deviation", "--justification", "two persons look", "--expires", next_year())
    done = call("approve", "m-0001", *BY, *words)
    assert done.exit_code == ExitCode.DONE, done.output
    told = "although criteria failed (macro_f1): two persons look"
    assert told in done.stderr
    assert "FAIL" in done.stdout
    log = call("log").stdout
    assert "approve, deviation" in log
    assert told in log
    decided = call("classify", "--seam", "S0001", "--out", str(tmp_path / "out"))
    assert told in decided.stderr


def next_year() -> str:
    from datetime import UTC, datetime, timedelta

    return f"{datetime.now(UTC) + timedelta(days=100):%Y-%m-%d}"


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("--justification", "x"), "without --deviation"),
        (("--expires", FAR), "without --deviation"),
        (("--deviation", "--justification", "x"), "needs its last day"),
        (("--deviation", "--expires", FAR), "--justification: got empty text"),
    ],
)
def test_half_a_deviation_is_refused(call, words: tuple[str, ...], message: str) -> None:
    done = call("approve", "m-0001", *BY, *words)
    assert isinstance(done.exception, BadInput)
    assert message in str(done.exception)


def test_reinstate_goes_back_and_says_on_which_approval(call, shop: Workspace) -> None:
    from seamtell.pipeline.sign_off.approval_log import Action, append_entry
    from seamtell.pipeline.withdraw import copied_sign_off

    shutil.copytree(shop.models_dir / "m-0001", shop.models_dir / "m-0002")
    last = read_log(shop)[-1]
    newer = copied_sign_off(last, Action.APPROVE, by="x", reason="x", now=last.time)
    append_entry(shop, newer.model_copy(update={"model_id": "m-0002"}))
    done = call("reinstate", *BY)
    assert done.exit_code == ExitCode.DONE
    assert "Reinstated: m-0001 by A. Knot, entry 5" in done.stdout
    assert "on the approval of entry 3" in done.stdout
    assert "Superseded: m-0002. Withdraw it" in done.stdout
