"""The outbox of experiment tracking: every run is written here first, then sent.

An item is a folder ``tracking/outbox/000001-training-m-0001/`` with ``run.json``
and the run's files. It appears whole or not at all, so a killed command leaves
nothing half spooled, and a tracking server that is down costs nothing but time.
Once sent, the item leaves a note in ``tracking/sent/``. Nothing here knows MLflow.
"""

from __future__ import annotations

import hashlib
import shutil
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path, PurePosixPath

from pydantic import BaseModel, ConfigDict, ValidationError

from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.workspace import Workspace

__all__ = [
    "ItemKind",
    "SentNote",
    "SpooledItem",
    "Waiting",
    "mark_sent",
    "outbox_dir",
    "sent_dir",
    "spool",
    "waiting",
]

_RUN_FILE = "run.json"
_TEMPORARY = ".part-"


class ItemKind(StrEnum):
    """What an item asks the server to keep."""

    TRAINING = "training"
    """A training run with its model."""
    EVALUATION = "evaluation"
    """Figures and reports that belong to the run of a model."""
    ALIAS = "alias"
    """A state of our own sign-off, as an alias of the registered model."""


class SpooledItem(BaseModel):
    """What ``run.json`` holds: all of a run but its files, and no path of this machine."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    schema_version: int = 1
    kind: ItemKind
    model_id: str
    model_digest: str
    recorded_at: str
    """ISO 8601, UTC."""
    params: dict[str, str] = {}
    metrics: dict[str, float] = {}
    tags: dict[str, str] = {}
    file_digests: dict[str, str] = {}
    """Path below the item's ``files/`` to SHA-256."""
    alias: str = ""

    @property
    def spool_id(self) -> str:
        """Name of the item on any server: the same content is the same item."""
        return hashlib.sha256(self.model_dump_json().encode()).hexdigest()[:24]


class SentNote(BaseModel):
    """What stays of an item once a server has it."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    spool_id: str
    server: str
    run_id: str


@dataclass(frozen=True)
class Waiting:
    """One item of the outbox, with the folder that holds its files."""

    folder: Path
    item: SpooledItem

    @property
    def files_dir(self) -> Path:
        """Folder of the run's files."""
        return self.folder / "files"


def outbox_dir(ws: Workspace) -> Path:
    """Items that still wait to be sent."""
    return ws.tracking_dir / "outbox"


def sent_dir(ws: Workspace) -> Path:
    """Notes of the items that were sent."""
    return ws.tracking_dir / "sent"


def spool(ws: Workspace, item: SpooledItem, files: Mapping[str, bytes]) -> Path:
    """Write `item` and its `files` (relative path to content) to the outbox, whole or not at all.

    Returns
    -------
    Path
        The item's folder; items sort by name in the order in which they were spooled.

    Raises
    ------
    BadInput
        A file's path would leave the item's folder.
    """
    digests = {_inside(name): hashlib.sha256(content).hexdigest() for name, content in sorted(files.items())}
    item = item.model_copy(update={"file_digests": digests})
    outbox = outbox_dir(ws)
    outbox.mkdir(parents=True, exist_ok=True)
    temporary = Path(tempfile.mkdtemp(prefix=_TEMPORARY, dir=outbox))
    try:
        for name, content in files.items():
            target = temporary / "files" / name
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(content)
        (temporary / _RUN_FILE).write_text(item.model_dump_json(indent=2) + "\n", encoding="utf-8")
        return _take_next_name(ws, temporary, item)
    finally:
        shutil.rmtree(temporary, ignore_errors=True)


def _inside(name: str) -> str:
    path = PurePosixPath(name)
    if path.is_absolute() or not path.parts or ".." in path.parts:
        raise BadInput(f"'{name}' is not a path inside a run", do="give a relative path")
    return name


def _take_next_name(ws: Workspace, temporary: Path, item: SpooledItem) -> Path:
    """Rename to the next free number; a rival that took the number first costs one more turn."""
    while True:
        taken = [
            p.name for folder in (outbox_dir(ws), sent_dir(ws)) if folder.is_dir() for p in folder.iterdir()
        ]
        numbers = [int(name[:6]) for name in taken if name[:6].isdigit()]
        folder = outbox_dir(ws) / f"{max(numbers, default=0) + 1:06d}-{item.kind.value}-{item.model_id}"
        if not folder.exists():
            try:
                temporary.rename(folder)
            except OSError:
                if folder.exists():
                    continue
                raise
            return folder


def waiting(ws: Workspace) -> list[Waiting]:
    """Items of the outbox, oldest first.

    Raises
    ------
    BadInput
        An item is not readable, or one of its files is missing or changed.
    """
    if not outbox_dir(ws).is_dir():
        return []
    folders = sorted(p for p in outbox_dir(ws).iterdir() if p.is_dir() and not p.name.startswith(_TEMPORARY))
    return [_read(folder) for folder in folders]


def _read(folder: Path) -> Waiting:
    do = "remove the item's folder; the model and its reports in the workspace are not touched by that"
    try:
        item = SpooledItem.model_validate_json((folder / _RUN_FILE).read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, ValidationError) as problem:
        first = str(problem).splitlines()[0]
        raise BadInput(f"not readable: {first}", where=str(folder / _RUN_FILE), do=do) from None
    for name, digest in item.file_digests.items():
        path = folder / "files" / _inside(name)
        if not path.is_file() or hashlib.sha256(path.read_bytes()).hexdigest() != digest:
            raise BadInput("missing or changed since it was spooled", where=str(path), do=do)
    return Waiting(folder, item)


def mark_sent(ws: Workspace, sent: Waiting, *, server: str, run_id: str) -> None:
    """Move `sent` out of the outbox; a note with the server and its run id stays."""
    note = SentNote(spool_id=sent.item.spool_id, server=server, run_id=run_id)
    sent_dir(ws).mkdir(parents=True, exist_ok=True)
    partial = sent_dir(ws) / f"{_TEMPORARY}{sent.folder.name}"
    partial.write_text(note.model_dump_json(indent=2) + "\n", encoding="utf-8")
    partial.replace(sent_dir(ws) / f"{sent.folder.name}.json")
    shutil.rmtree(sent.folder)
