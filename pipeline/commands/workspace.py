"""``seamtell init``: make a workspace."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from seamtell.pipeline import console

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Add the command."""

    @app.command()
    def init(folder: Annotated[Path, typer.Argument(metavar="DIR", help="Folder to make.")]) -> None:
        """Make a workspace: commented settings, limits and criteria, an input profile, empty stores."""
        from seamtell.pipeline.init import init_workspace

        workspace = init_workspace(folder)
        console.say(f"Workspace made in {workspace.root}")
        console.say("  seamtell.toml   settings, every default shown")
        console.say("  limits.toml     limits of each recipe, to be filled in from your procedure")
        console.say("  criteria.toml   what a model must show before approval")
        console.say("  physics.toml    heads and sheets for the guided-wave theory; may stay as it is")
        console.say("  profiles/       how your trace files are laid out")
        console.say()
        console.next_step(
            f"fill in {folder / 'limits.toml'}, then: cd {folder} && seamtell profile check FILE"
        )
