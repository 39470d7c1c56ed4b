"""Options of the commands that write into the approval log, and the key they sign with."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from seamtell.pipeline.sign_off.keys import Signer

__all__ = ["EarlierClock", "KeyFile", "PassphraseFile", "passphrase_of", "signer_of"]

KeyFile = Annotated[
    Path | None, typer.Option("--key", metavar="FILE", help="Private key that signs the entry of the log.")
]
PassphraseFile = Annotated[
    Path | None,
    typer.Option("--passphrase-file", metavar="FILE", help="First line: the passphrase of the private key."),
]
EarlierClock = Annotated[
    bool,
    typer.Option("--earlier-clock", help="The clock is right now; an earlier step had it too late."),
]


def passphrase_of(path: Path | None) -> str:
    """First line of a file; empty without one.

    Raises
    ------
    BadInput
        The line is empty.
    """
    from seamtell.pipeline.errors import BadInput
    from seamtell.pipeline.files.atomic import storage_errors

    if path is None:
        return ""
    with storage_errors(path):
        lines = path.read_text(encoding="utf-8").splitlines()
    if not lines or not lines[0]:
        raise BadInput("got an empty first line, expected a passphrase", where=str(path))
    return lines[0]


def signer_of(key: Path | None, passphrase_file: Path | None) -> Signer | None:
    """The private key to sign with, its passphrase asked for on a terminal when it needs one."""
    from seamtell.pipeline.sign_off.keys import load_signer, needs_passphrase

    if key is None:
        return None
    passphrase = passphrase_of(passphrase_file)
    if not passphrase and needs_passphrase(key) and sys.stdin.isatty():
        passphrase = typer.prompt("Passphrase of the key", hide_input=True, err=True)
    return load_signer(key, passphrase)
