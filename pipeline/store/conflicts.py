"""Settling a conflict: two contents under one seam id, and a person says which holds."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import pyarrow as pa
import pyarrow.parquet as pq

from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.files.locking import workspace_lock
from seamtell.pipeline.ingest.reasons import WHAT_TO_DO, ReasonCode
from seamtell.pipeline.settings import read_settings
from seamtell.pipeline.store.rejected import InputKind, RejectedRow, RejectedTable, Status
from seamtell.pipeline.store.rows import StoredSeam, content_sha256, part_bytes, traces_of
from seamtell.pipeline.store.seam_store import SeamStore
from seamtell.pipeline.store.writer import StoreWriter
from seamtell.pipeline.workspace import Workspace

__all__ = ["Keep", "Settled", "add_conflict", "keep_conflict"]


class Keep(StrEnum):
    """Which content holds."""

    STORED = "stored"
    INCOMING = "incoming"


@dataclass(frozen=True)
class Settled:
    """How a conflict was settled.

    Parameters
    ----------
    seam_id : str
    kept : Keep
    content_sha256 : str
        Digest of the content that the store now holds.
    settled : int
        Contents that were set aside.
    """

    seam_id: str
    kept: Keep
    content_sha256: str
    settled: int


def keep_conflict(workspace: Workspace, seam_id: str, keep: Keep, content: str = "") -> Settled:
    """Keep the stored content or an incoming one; the other stays in ``rejected/``, marked resolved.

    Parameters
    ----------
    workspace : Workspace
    seam_id : str
    keep : Keep
    content : str, optional
        First digits of the content digest, where several incoming ones wait.

    Raises
    ------
    BadInput
        No open conflict on this seam, or it is not clear which incoming content is meant.
    WorkspaceBusy, StorageProblem
        As any writer.
    """
    read_settings(workspace.settings_path)
    with workspace_lock(workspace):
        table = RejectedTable(workspace.rejected_dir)
        waiting = [row for row in table if _waits(row, seam_id)]
        if not waiting:
            raise BadInput(
                f"no open conflict on seam '{seam_id}'",
                where=str(workspace.root),
                do="'seamtell rejected' lists what is open",
            )
        if keep is Keep.INCOMING:
            _put_incoming(workspace, table, _the_one(waiting, seam_id, content))
        keys = {row.key for row in waiting}
        settled = table.resolve(lambda row: row.key in keys, f"kept: {keep}")
        table.save()
        kept = content_sha256(SeamStore(workspace.traces_dir).get(seam_id))
    return Settled(seam_id, keep, kept, settled)


def add_conflict(
    table: RejectedTable, seam: StoredSeam, message: str, *, source: str = "", resolution: str = ""
) -> None:
    """List a content that is not the one in the store, and keep it as one row of the store.

    Parameters
    ----------
    table : RejectedTable
        The caller saves it.
    seam : StoredSeam
    message : str
    source : str, optional
        Where it came from; default: as `seam` says.
    resolution : str, optional
        How it is settled; default: it is open.

    Raises
    ------
    StorageProblem
        The content cannot be kept.
    """
    kept = table.keep_bytes(part_bytes([seam]))
    table.add(
        RejectedRow(
            kind=InputKind.TRACE,
            sha256=kept,
            source=source or seam.source,
            row=0,
            seam_id=seam.trace.seam_id,
            reason=ReasonCode.SEAM_ID_CONFLICT,
            message=message,
            do=WHAT_TO_DO[ReasonCode.SEAM_ID_CONFLICT],
            content_sha256=seam.sha256,
            parsed_sha256=kept,
            status=Status.RESOLVED if resolution else Status.OPEN,
            resolution=resolution,
        )
    )


def _waits(row: RejectedRow, seam_id: str) -> bool:
    return row.is_open and row.reason == ReasonCode.SEAM_ID_CONFLICT and row.seam_id == seam_id


def _the_one(waiting: list[RejectedRow], seam_id: str, content: str) -> RejectedRow:
    chosen = [row for row in waiting if row.content_sha256.startswith(content)]
    if len(chosen) == 1:
        return chosen[0]
    digests = ", ".join(row.content_sha256[:12] for row in waiting)
    raise BadInput(
        f"seam '{seam_id}': {len(chosen)} incoming contents match, of {digests}",
        do="say which with --content and the first digits",
    )


def _put_incoming(workspace: Workspace, table: RejectedTable, row: RejectedRow) -> None:
    """Swap contents: the loser's bytes are safe before the store changes."""
    stored = SeamStore(workspace.traces_dir).get(row.seam_id)
    loser = StoredSeam(stored, "store", content_sha256(stored))
    told = "was in the store and gave way to other content"
    add_conflict(table, loser, told, source="seam store", resolution="gave way")
    table.save()
    incoming = next(traces_of(pq.read_table(pa.BufferReader(table.kept(row.parsed_sha256)))))
    StoreWriter(workspace.traces_dir).replace(incoming, row.source.rsplit("/", 1)[-1])
