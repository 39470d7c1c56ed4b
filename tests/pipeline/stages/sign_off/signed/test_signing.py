"""Entries signed with a key, and a workspace that asks for it."""

from __future__ import annotations

import base64
import json
from datetime import datetime
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.serialization import load_pem_public_key

from seamtell.pipeline.approve import approve
from seamtell.pipeline.errors import Refused
from seamtell.pipeline.reinstate import reinstate
from seamtell.pipeline.sign_off.approval_log import read_log
from seamtell.pipeline.sign_off.check_result import CheckOutcome
from seamtell.pipeline.sign_off.keys import Signer, load_signer, new_key, trust_key
from seamtell.pipeline.verify import verify
from seamtell.pipeline.withdraw import withdraw
from seamtell.pipeline.workspace import Workspace

pytestmark = pytest.mark.usefixtures("_no_registry")

BY = {"by": "R. Tern", "reason": "signed with a key"}


@pytest.fixture
def signer(shop: Workspace, tmp_path: Path) -> Signer:
    """A key that the workspace trusts as 'tern'."""
    made = new_key(tmp_path / "at home", "tern")
    trust_key(shop, made.public_path, "tern")
    return load_signer(made.private_path)


@pytest.fixture
def demanding(shop: Workspace, signer: Signer) -> Workspace:
    """The shop, asking for signatures from now on."""
    text = shop.settings_path.read_text()
    assert "require_signature = false" in text
    shop.settings_path.write_text(text.replace("require_signature = false", "require_signature = true"))
    return shop


def found(ws: Workspace, now: datetime, name: str = "signatures"):
    return next(check for check in verify(ws, now=now).checks if check.name == name)


def test_anybody_can_check_a_signature_with_the_public_key_and_the_line_alone(
    shop: Workspace, signer: Signer, later: datetime
) -> None:
    # Outside our code: the line, canonical JSON, SHA-256 and Ed25519 of RFC 8032 as `cryptography` has it.
    import hashlib

    approve(shop, "m-0001", now=later, signer=signer, **BY)
    entry = json.loads(shop.log_path.read_text("utf-8").splitlines()[-1])
    signature = base64.b64decode(entry.pop("signature")["value"])
    del entry["digest"]
    text = json.dumps(entry, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    digest = hashlib.sha256(text.encode()).hexdigest()
    key = load_pem_public_key((shop.keys_dir / "tern.pem").read_bytes())
    key.verify(signature, f"seamtell approval log entry {digest}".encode())  # raises when it is wrong


def test_verify_names_who_signed_and_which_entries_nobody_signed(
    shop: Workspace, signer: Signer, later: datetime
) -> None:
    approve(shop, "m-0001", now=later, signer=signer, **BY)
    check = found(shop, later)
    assert check.outcome is CheckOutcome.NOTE
    assert f"signed: 4 by 'tern' ({signer.fingerprint[:16]}); not signed: 1, 2, 3" == check.text


def test_an_unsigned_approval_or_reinstatement_is_refused_where_signatures_are_asked_for(
    demanding: Workspace, later: datetime
) -> None:
    for move in (approve, reinstate):
        with pytest.raises(Refused, match="only by a signed entry"):
            move(demanding, "m-0001", now=later, **BY)
    assert len(read_log(demanding)) == 3


def test_a_withdrawal_is_never_held_up_by_a_missing_key(demanding: Workspace, later: datetime) -> None:
    withdraw(demanding, "m-0001", now=later, **BY)
    assert len(read_log(demanding)) == 4


def test_an_approval_signed_by_nobody_does_not_label_where_signatures_are_asked_for(
    demanding: Workspace, signer: Signer, later: datetime, decide
) -> None:
    record = decide(demanding)
    assert record.model_reason == "no_approved_model"
    assert found(demanding, later).outcome is CheckOutcome.MISMATCH
    approve(demanding, "m-0001", now=later, signer=signer, **BY)
    assert decide(demanding).model_id == "m-0001"
    assert found(demanding, later).outcome is CheckOutcome.NOTE


def test_a_key_that_the_workspace_does_not_trust_cannot_sign(
    shop: Workspace, tmp_path: Path, later: datetime
) -> None:
    stranger = load_signer(new_key(tmp_path / "elsewhere", "stranger").private_path)
    with pytest.raises(Refused, match="does not trust this key"):
        approve(shop, "m-0001", now=later, signer=stranger, **BY)


def test_a_key_that_is_no_longer_trusted_takes_its_approvals_with_it(
    shop: Workspace, signer: Signer, later: datetime, decide
) -> None:
    approve(shop, "m-0001", now=later, signer=signer, **BY)
    (shop.keys_dir / "tern.pem").unlink()
    assert "does not trust" in found(shop, later).text
    assert decide(shop).model_reason == "no_approved_model"


def test_a_signature_moved_to_changed_words_is_refused(
    shop: Workspace, signer: Signer, later: datetime, forge, decide
) -> None:
    approve(shop, "m-0001", now=later, signer=signer, **BY)
    forge(shop, lambda entries: entries[3].update(by="Somebody Else"))
    first = verify(shop, now=later).first_mismatch
    assert (first.name, "not one of key 'tern' over this entry" in first.text) == ("signatures", True)
    assert decide(shop).model_reason == "no_approved_model"


def test_a_signature_taken_off_breaks_the_chain(shop: Workspace, signer: Signer, later: datetime) -> None:
    approve(shop, "m-0001", now=later, signer=signer, **BY)
    *others, last = shop.log_path.read_text("utf-8").splitlines(keepends=True)
    entry = json.loads(last)
    entry["signature"] = None
    text = json.dumps(entry, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    shop.log_path.write_text("".join([*others, text + "\n"]), "utf-8")
    assert verify(shop, now=later).first_mismatch.name == "log"
