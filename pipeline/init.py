"""Making a workspace: the folder with its commented configuration and empty stores."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.files.atomic import make_folder, write_bytes_atomically
from seamtell.pipeline.workspace import SETTINGS_FILE, Workspace

__all__ = ["DEFAULT_PROFILE_FILE", "default_file", "init_workspace"]

DEFAULT_PROFILE_FILE = "default_profile.toml"
_DEFAULTS = files("seamtell.pipeline") / "defaults"


def default_file(name: str) -> bytes:
    """Bytes of one of the files that come with seamtell."""
    return (_DEFAULTS / name).read_bytes()


def init_workspace(folder: Path) -> Workspace:
    """Make a workspace in `folder`, which may exist if it is not one yet.

    The settings file is written last: without it no command takes the folder
    for a workspace, so a killed `init` can be run again.

    Raises
    ------
    BadInput
        `folder` is a workspace or a file, or holds a file that would be overwritten.
    StorageProblem
        Full, read-only or forbidden.
    """
    workspace = Workspace(folder.resolve())
    if folder.exists() and not folder.is_dir():
        raise BadInput("a file, not a folder", where=str(folder), do="choose another name")
    if workspace.settings_path.exists():
        raise BadInput(
            "a workspace already; nothing was changed", where=str(folder), do="choose another folder"
        )
    names = sorted(entry.name for entry in _DEFAULTS.iterdir() if entry.name.endswith(".toml"))
    targets = {name: _target(workspace, name) for name in names}
    for target in targets.values():
        if target.exists() and target.read_bytes() != default_file(_source(target, workspace)):
            raise BadInput(
                "would be overwritten", where=str(target), do="move it away, or choose another folder"
            )
    for place in (
        workspace.profiles_dir,
        workspace.traces_dir,
        workspace.sections_dir,
        workspace.rejected_dir,
    ):
        make_folder(place)
    for name in sorted(names, key=lambda name: name == SETTINGS_FILE):
        write_bytes_atomically(targets[name], default_file(name))
    return workspace


def _target(workspace: Workspace, name: str) -> Path:
    return workspace.profiles_dir / "default.toml" if name == DEFAULT_PROFILE_FILE else workspace.root / name


def _source(target: Path, workspace: Workspace) -> str:
    return DEFAULT_PROFILE_FILE if target.parent == workspace.profiles_dir else target.name
