"""A workspace: the folder that holds one shop's data, models and log."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from seamtell.pipeline.errors import BadInput

__all__ = ["SETTINGS_FILE", "WORKSPACE_SCHEMA_VERSION", "Workspace", "find_workspace"]

SETTINGS_FILE = "seamtell.toml"
WORKSPACE_SCHEMA_VERSION = 1
"""Layout of a workspace, stated in its settings file."""


@dataclass(frozen=True)
class Workspace:
    """Where everything lies below the workspace folder `root`."""

    root: Path

    @property
    def settings_path(self) -> Path:
        """Settings of the workspace."""
        return self.root / SETTINGS_FILE

    @property
    def limits_path(self) -> Path:
        """Limits of the approved limit rule."""
        return self.root / "limits.toml"

    @property
    def criteria_path(self) -> Path:
        """What the quality engineer requires before approval."""
        return self.root / "criteria.toml"

    @property
    def causes_path(self) -> Path:
        """Hints at likely causes of each flaw."""
        return self.root / "causes.toml"

    @property
    def physics_path(self) -> Path:
        """Heads, recipes and expected flaws as the guided-wave theory needs them."""
        return self.root / "physics.toml"

    @property
    def physics_dir(self) -> Path:
        """Fits to the reference blank, and simulated sections."""
        return self.root / "physics"

    @property
    def profiles_dir(self) -> Path:
        """Input profiles."""
        return self.root / "profiles"

    @property
    def traces_dir(self) -> Path:
        """Seam store."""
        return self.root / "traces"

    @property
    def sections_dir(self) -> Path:
        """Destructive sections."""
        return self.root / "sections"

    @property
    def rejected_dir(self) -> Path:
        """Rejected input with its bytes."""
        return self.root / "rejected"

    @property
    def described_dir(self) -> Path:
        """Indications with their descriptors."""
        return self.root / "described"

    @property
    def models_dir(self) -> Path:
        """Model folders, one a model: ``m-0001`` and so on."""
        return self.root / "models"

    @property
    def decisions_dir(self) -> Path:
        """Decisions of ``seamtell classify`` that were not sent elsewhere by ``--out``."""
        return self.root / "decisions"

    @property
    def health_dir(self) -> Path:
        """Record of reference checks, and state of the drift sequence."""
        return self.root / "health"

    @property
    def watch_dir(self) -> Path:
        """Journal of ``seamtell watch``."""
        return self.root / "watch"

    @property
    def cut_plans_dir(self) -> Path:
        """Plans of the next cuts, one folder a plan: ``cutplan-0001`` and so on."""
        return self.root / "cutplans"

    @property
    def reports_dir(self) -> Path:
        """Reports to open."""
        return self.root / "reports"

    @property
    def tracking_dir(self) -> Path:
        """Local experiment tracking and what still waits to be sent."""
        return self.root / "tracking"

    @property
    def log_path(self) -> Path:
        """Append-only log of approvals."""
        return self.root / "approvals.jsonl"

    @property
    def evidence_dir(self) -> Path:
        """Copies of all that was signed, each named by its SHA-256."""
        return self.root / "evidence"

    @property
    def keys_dir(self) -> Path:
        """Public keys whose signatures the workspace trusts."""
        return self.root / "keys"

    @property
    def lock_path(self) -> Path:
        """Lock that a command holds while it changes the workspace."""
        return self.root / ".lock"


def find_workspace(start: Path | None = None, *, explicit: Path | None = None) -> Workspace:
    """Find the workspace upwards from `start` (default: the current folder), or take `explicit`.

    Raises
    ------
    BadInput
        No ``seamtell.toml`` there or in any parent, or one of a newer seamtell.
    """
    if explicit is not None:
        if not (explicit / SETTINGS_FILE).is_file():
            raise BadInput(
                f"no {SETTINGS_FILE} here", where=str(explicit), do=f"run 'seamtell init {explicit}' first"
            )
        return _of_this_version(Workspace(explicit.resolve()))
    here = (start or Path.cwd()).resolve()
    for folder in (here, *here.parents):
        if (folder / SETTINGS_FILE).is_file():
            return _of_this_version(Workspace(folder))
    raise BadInput(
        f"no workspace: no {SETTINGS_FILE} in this folder or any above it",
        where=str(here),
        do="run 'seamtell init DIR', or say --workspace DIR",
    )


def _of_this_version(workspace: Workspace) -> Workspace:
    """Refuse a workspace of a newer seamtell before any command reads its stores.

    The keys of the settings are not looked at here: a command that needs none of them still runs.
    """
    from seamtell.pipeline.versioned_toml import read_versioned_toml

    read_versioned_toml(workspace.settings_path, what="workspace", version=WORKSPACE_SCHEMA_VERSION)
    return workspace
