"""Key pairs: made on request only, kept private, trusted by name."""

from __future__ import annotations

import hashlib
import os
import stat
from pathlib import Path

import pytest
from cryptography.hazmat.primitives import serialization as form
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.asymmetric.x25519 import X25519PrivateKey

from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.sign_off.keys import (
    Signer,
    load_signer,
    needs_passphrase,
    new_key,
    trust_key,
    trusted_keys,
)
from seamtell.pipeline.workspace import Workspace


def test_the_private_key_is_for_its_owner_alone_whatever_the_umask(tmp_path: Path) -> None:
    before = os.umask(0)
    try:
        made = new_key(tmp_path, "tern")
    finally:
        os.umask(before)
    assert stat.S_IMODE(made.private_path.stat().st_mode) == 0o600
    assert made.private_path.name == "tern.private.pem"
    assert b"PRIVATE" not in made.public_path.read_bytes()


def test_the_fingerprint_is_that_of_the_32_bytes_of_the_public_key(tmp_path: Path) -> None:
    made = new_key(tmp_path, "tern")
    raw = form.load_pem_public_key(made.public_path.read_bytes()).public_bytes_raw()
    assert (len(raw), made.fingerprint) == (32, hashlib.sha256(raw).hexdigest())


@pytest.mark.parametrize("existing", ["tern.private.pem", "tern.pem"])
def test_a_key_is_never_written_over_another(tmp_path: Path, existing: str) -> None:
    (tmp_path / existing).write_text("precious")
    with pytest.raises(BadInput, match="a key is there already"):
        new_key(tmp_path, "tern")
    assert [path.name for path in tmp_path.iterdir()] == [existing]
    assert (tmp_path / existing).read_text() == "precious"


def test_a_private_key_is_not_made_inside_a_workspace(tmp_path: Path) -> None:
    (tmp_path / "seamtell.toml").write_text("")
    with pytest.raises(BadInput, match="beside the log that it signs"):
        new_key(tmp_path / "keys", "tern")
    assert not (tmp_path / "keys").exists()


@pytest.mark.parametrize("name", ["", "../tern", "a b", ".hidden", "x" * 80])
def test_a_key_has_a_plain_name(tmp_path: Path, name: str) -> None:
    with pytest.raises(BadInput, match="got the key name"):
        new_key(tmp_path, name)


def test_an_encrypted_key_needs_its_passphrase(tmp_path: Path) -> None:
    made = new_key(tmp_path, "tern", "correct horse")
    assert needs_passphrase(made.private_path)
    assert load_signer(made.private_path, "correct horse").fingerprint == made.fingerprint
    with pytest.raises(BadInput, match="needs its passphrase"):
        load_signer(made.private_path)
    with pytest.raises(BadInput, match="passphrase is wrong"):
        load_signer(made.private_path, "battery staple")


def test_a_passphrase_for_a_key_that_has_none_is_told(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="has no passphrase"):
        load_signer(new_key(tmp_path, "tern").private_path, "x")


def test_what_is_no_private_key_of_ours_is_told(tmp_path: Path) -> None:
    (tmp_path / "a.pem").write_bytes(b"\xff\x00")
    with pytest.raises(BadInput, match="not readable as a private key"):
        load_signer(tmp_path / "a.pem")
    other = X25519PrivateKey.generate()
    (tmp_path / "b.pem").write_bytes(
        other.private_bytes(form.Encoding.PEM, form.PrivateFormat.PKCS8, form.NoEncryption())
    )
    with pytest.raises(BadInput, match="not an Ed25519 key"):
        load_signer(tmp_path / "b.pem")


def test_a_trusted_key_has_a_name_and_no_two_share_one(tmp_path: Path) -> None:
    ws = Workspace(tmp_path / "ws")
    first, second = new_key(tmp_path / "a", "a"), new_key(tmp_path / "b", "b")
    assert trusted_keys(ws) == {}
    trust_key(ws, first.public_path, "tern")
    assert trusted_keys(ws)[first.fingerprint].name == "tern"
    for path, name in ((first.public_path, "again"), (second.public_path, "tern")):
        with pytest.raises(BadInput, match="trusts a key 'tern' already"):
            trust_key(ws, path, name)
    with pytest.raises(BadInput, match="not an Ed25519 public key"):
        trust_key(ws, second.private_path, "knot")


def test_signatures_are_those_of_rfc_8032() -> None:
    # RFC 8032, section 7.1, test 1: the seed gives the public key; Ed25519 is deterministic.
    seed = bytes.fromhex("9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60")
    public = bytes.fromhex("d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a")
    signer = Signer(Ed25519PrivateKey.from_private_bytes(seed))
    assert signer.fingerprint == hashlib.sha256(public).hexdigest()
    assert signer.sign("ab") == signer.sign("ab")
    assert signer.sign("ab") != signer.sign("ac")
