"""Signing entries with a key pair: Ed25519 (RFC 8032), and the public keys that a workspace trusts.

A private key is made only when a person asks for one, and lies wherever that person
keeps it, never in the workspace. The workspace holds public keys, ``keys/<name>.pem``.
Whoever can write into the workspace can add one: keep the fingerprints elsewhere too.
"""

from __future__ import annotations

import base64
import hashlib
import os
import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from seamtell.pipeline.errors import BadInput, Refused
from seamtell.pipeline.files.atomic import make_folder, storage_errors, write_bytes_atomically
from seamtell.pipeline.sign_off.log_entry import EntrySignature, LogEntry
from seamtell.pipeline.workspace import SETTINGS_FILE, Workspace

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

__all__ = [
    "NewKey",
    "Signer",
    "TrustedKey",
    "check_may_sign",
    "check_signature",
    "load_signer",
    "needs_passphrase",
    "new_key",
    "trust_key",
    "trusted_keys",
]

_SUFFIX = ".pem"
_PURPOSE = b"seamtell approval log entry "
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.-]{0,60}")


@dataclass(frozen=True)
class NewKey:
    """A key pair that was just made: where its two files lie, and the fingerprint to keep."""

    private_path: Path
    public_path: Path
    fingerprint: str


@dataclass(frozen=True)
class TrustedKey:
    """A public key of the workspace."""

    name: str
    fingerprint: str
    raw: bytes


class Signer:
    """A private key, ready to sign entries."""

    def __init__(self, key: Ed25519PrivateKey) -> None:
        self._key = key
        self.fingerprint = _fingerprint(_raw(key.public_key()))

    def sign(self, content_digest: str) -> EntrySignature:
        """Sign the content digest of an entry."""
        value = self._key.sign(_message(content_digest))
        return EntrySignature(key=self.fingerprint, value=base64.b64encode(value).decode("ascii"))


def _message(content_digest: str) -> bytes:
    # The words before it keep a signature from being taken for one of anything else.
    return _PURPOSE + content_digest.encode("ascii")


def _raw(key: Ed25519PublicKey) -> bytes:
    return key.public_bytes_raw()


def _fingerprint(raw: bytes) -> str:
    return hashlib.sha256(raw).hexdigest()


def _checked_name(name: str) -> str:
    if not _NAME.fullmatch(name):
        raise BadInput(
            f"got the key name '{name}', expected letters, digits, '_', '-' or '.'",
            where="--name",
            do="choose a plain name, for example of the person",
        )
    return name


def new_key(folder: Path, name: str, passphrase: str = "") -> NewKey:
    """Make a key pair in `folder`: ``<name>.private.pem``, for its owner's eyes only, and ``<name>.pem``.

    Parameters
    ----------
    passphrase : str
        Encrypts the private key; empty for none.

    Raises
    ------
    BadInput
        A file of the name is there already, or `folder` lies in a workspace.
    StorageProblem
    """
    from cryptography.hazmat.primitives import serialization as form
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    private, public = folder / f"{_checked_name(name)}.private{_SUFFIX}", folder / f"{name}{_SUFFIX}"
    inside = next(
        (p for p in (folder.resolve(), *folder.resolve().parents) if (p / SETTINGS_FILE).is_file()), None
    )
    if inside is not None:
        raise BadInput(
            "a private key beside the log that it signs protects nothing",
            where=str(inside),
            do="choose a folder outside the workspace that only its owner can read",
        )
    for path in (private, public):
        if path.exists():
            raise BadInput(
                "a key is there already; nothing was changed", where=str(path), do="say another --name"
            )
    key = Ed25519PrivateKey.generate()
    encryption = (
        form.BestAvailableEncryption(passphrase.encode("utf-8")) if passphrase else form.NoEncryption()
    )
    secret = key.private_bytes(form.Encoding.PEM, form.PrivateFormat.PKCS8, encryption)
    make_folder(folder)
    with storage_errors(private):
        # O_EXCL: never over another key; 0600 from the first moment on.
        descriptor = os.open(private, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(descriptor, "wb") as stream:
            stream.write(secret)
            stream.flush()
            os.fsync(stream.fileno())
    write_bytes_atomically(public, _pem(key.public_key()))
    return NewKey(private, public, _fingerprint(_raw(key.public_key())))


def _pem(key: Ed25519PublicKey) -> bytes:
    from cryptography.hazmat.primitives import serialization as form

    return key.public_bytes(form.Encoding.PEM, form.PublicFormat.SubjectPublicKeyInfo)


def load_signer(path: Path, passphrase: str = "") -> Signer:
    """Read a private key.

    Raises
    ------
    BadInput
        Missing, not an Ed25519 private key, or the passphrase is wrong or missing.
    """
    from cryptography.exceptions import UnsupportedAlgorithm
    from cryptography.hazmat.primitives import serialization as form
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    with storage_errors(path):
        data = path.read_bytes()
    try:
        key = form.load_pem_private_key(data, passphrase.encode("utf-8") if passphrase else None)
    except TypeError:
        what = "needs its passphrase" if not passphrase else "has no passphrase"
        raise BadInput(f"the key {what}", where=str(path), do="say or leave --passphrase-file") from None
    except (ValueError, UnsupportedAlgorithm):
        raise BadInput(
            "not readable as a private key, or the passphrase is wrong",
            where=str(path),
            do="name the .private.pem file that 'seamtell key new' made",
        ) from None
    if not isinstance(key, Ed25519PrivateKey):
        raise BadInput("not an Ed25519 key", where=str(path), do="make one with 'seamtell key new'")
    return Signer(key)


def needs_passphrase(path: Path) -> bool:
    """Whether a private key file is encrypted, by its heading."""
    with storage_errors(path):
        return b"ENCRYPTED" in path.read_bytes().split(b"\n", 1)[0]


def _read_public(path: Path) -> Ed25519PublicKey:
    from cryptography.exceptions import UnsupportedAlgorithm
    from cryptography.hazmat.primitives import serialization as form
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    with storage_errors(path):
        data = path.read_bytes()
    try:
        key = form.load_pem_public_key(data)
    except (ValueError, UnsupportedAlgorithm):
        key = None
    if not isinstance(key, Ed25519PublicKey):
        raise BadInput(
            "not an Ed25519 public key",
            where=str(path),
            do="put the .pem file there that 'seamtell key new' made, not the .private.pem one",
        )
    return key


def trust_key(ws: Workspace, public: Path, name: str) -> TrustedKey:
    """Let the workspace trust a public key under a name.

    Raises
    ------
    BadInput
        Not a public key, or the name or the key is there already.
    """
    key = _read_public(public)
    raw = _raw(key)
    target = ws.keys_dir / f"{_checked_name(name)}{_SUFFIX}"
    for known in trusted_keys(ws).values():
        if known.name == name or known.raw == raw:
            raise BadInput(
                f"the workspace trusts a key '{known.name}' already, fingerprint {known.fingerprint[:16]}",
                where=str(ws.keys_dir),
                do="choose another name; to replace a key, remove its file with care",
            )
    write_bytes_atomically(target, _pem(key))
    return TrustedKey(name, _fingerprint(raw), raw)


def trusted_keys(ws: Workspace) -> dict[str, TrustedKey]:
    """Public keys of the workspace by fingerprint.

    Raises
    ------
    BadInput
        A file of ``keys/`` is no public key.
    """
    if not ws.keys_dir.is_dir():
        return {}
    found = {}
    for path in sorted(ws.keys_dir.glob(f"*{_SUFFIX}")):
        raw = _raw(_read_public(path))
        found[_fingerprint(raw)] = TrustedKey(path.name.removesuffix(_SUFFIX), _fingerprint(raw), raw)
    return found


def check_may_sign(ws: Workspace, signer: Signer | None, *, required: bool) -> None:
    """Refuse an entry that the workspace would not believe once it is written.

    Raises
    ------
    Refused
        No key where one is required, or one that the workspace does not trust.
    """
    if signer is None:
        if required:
            raise Refused(
                "the workspace puts a model to work only by a signed entry",
                where=str(ws.settings_path),
                do="say --key FILE with a private key whose public key is in keys/",
            )
        return
    if signer.fingerprint not in trusted_keys(ws):
        raise Refused(
            f"the workspace does not trust this key, fingerprint {signer.fingerprint[:16]}",
            where=str(ws.keys_dir),
            do="run 'seamtell key trust FILE --name NAME' with its public key",
        )


def check_signature(entry: LogEntry, keys: dict[str, TrustedKey]) -> TrustedKey | None:
    """The trusted key that signed `entry`; None when it is not signed.

    Raises
    ------
    Refused
        Signed by a key that the workspace does not trust, or the signature is wrong.
    """
    if entry.signature is None:
        return None
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    known = keys.get(entry.signature.key)
    where = f"entry {entry.seq}"
    if known is None:
        raise Refused(
            f"signed by a key that the workspace does not trust, fingerprint {entry.signature.key[:16]}",
            where=where,
            do="put the public key of the signer into keys/, if it is one of yours",
        )
    try:
        value = base64.b64decode(entry.signature.value, validate=True)
        Ed25519PublicKey.from_public_bytes(known.raw).verify(value, _message(entry.content_digest()))
    except (InvalidSignature, ValueError):
        raise Refused(
            f"the signature is not one of key '{known.name}' over this entry",
            where=where,
            do="restore approvals.jsonl from a copy",
        ) from None
    return known
