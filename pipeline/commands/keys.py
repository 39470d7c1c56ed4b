"""``seamtell key``: key pairs for those who sign."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from seamtell.pipeline import console
from seamtell.pipeline.commands.options import AsJson, WorkspaceDir
from seamtell.pipeline.commands.signing import PassphraseFile, passphrase_of

__all__ = ["register"]

Out = Annotated[Path, typer.Option("--out", metavar="DIR", help="Folder for both files, not in a workspace.")]
Name = Annotated[str, typer.Option("--name", metavar="NAME", help="Name of the key, such as the person's.")]
PublicKey = Annotated[Path, typer.Argument(metavar="FILE", help="Public key, the .pem file.")]
AskPassphrase = Annotated[
    bool, typer.Option("--passphrase", help="Ask for a passphrase that encrypts the private key.")
]


def register(app: typer.Typer) -> None:
    """Add the commands."""
    keys = typer.Typer(help="Key pairs that sign approvals.", no_args_is_help=True, rich_markup_mode=None)
    keys.callback()(_keys)
    keys.command("new")(_new)
    keys.command("trust")(_trust)
    app.add_typer(keys, name="key")


def _keys() -> None:
    """Key pairs that sign approvals."""


def _new(
    out: Out,
    name: Name = "signer",
    passphrase: AskPassphrase = False,
    passphrase_file: PassphraseFile = None,
    as_json: AsJson = False,
) -> None:
    """Make an Ed25519 key pair; never over an existing one."""
    from seamtell.pipeline.sign_off.keys import new_key

    secret = passphrase_of(passphrase_file)
    if passphrase and not secret:
        secret = typer.prompt("Passphrase", hide_input=True, confirmation_prompt=True, err=True)
    made = new_key(out, name, secret)
    if as_json:
        console.print_json(
            {
                "private": str(made.private_path),
                "public": str(made.public_path),
                "fingerprint": made.fingerprint,
                "encrypted": bool(secret),
            }
        )
        return
    kept = "encrypted" if secret else "not encrypted: whoever can read the file can sign"
    console.say(f"Private key: {made.private_path} ({kept}). It never leaves its owner.")
    console.say(f"Public key:  {made.public_path}")
    console.say(f"Fingerprint: {made.fingerprint}. Keep it elsewhere too.")
    console.next_step(f"seamtell key trust {made.public_path} --name {name}")


def _trust(public: PublicKey, name: Name, workspace: WorkspaceDir = None, as_json: AsJson = False) -> None:
    """Let the workspace trust signatures of a public key."""
    from seamtell.pipeline.sign_off.keys import trust_key
    from seamtell.pipeline.workspace import find_workspace

    ws = find_workspace(explicit=workspace)
    known = trust_key(ws, public, name)
    if as_json:
        console.print_json({"name": known.name, "fingerprint": known.fingerprint})
        return
    console.say(f"Trusted: '{known.name}', fingerprint {known.fingerprint}.")
    console.say("To put models to work by signed entries only: [sign_off] require_signature = true.")
