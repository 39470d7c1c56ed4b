"""From the journal to where the rest of the house looks: seams to the store, decisions to their files.

The store comes first, so that no decision file names a seam that the store lacks. Everything
here gives the same when it is done again, so a kill costs nothing.
"""

from __future__ import annotations

from collections import defaultdict

import pyarrow as pa

from seamtell.pipeline.decisions.decision_tables import decision_schema, indication_schema
from seamtell.pipeline.decisions.files import (
    DECISIONS_FILE,
    INDICATIONS_FILE,
    RECORD_FILE,
    DecisionCounts,
    DecisionRecord,
)
from seamtell.pipeline.files.atomic import write_bytes_atomically
from seamtell.pipeline.files.locking import workspace_lock
from seamtell.pipeline.store.conflicts import add_conflict
from seamtell.pipeline.store.rejected import RejectedTable
from seamtell.pipeline.store.rows import StoredSeam, traces_of
from seamtell.pipeline.store.writer import StoreWriter
from seamtell.pipeline.streaming.unit_files import part_name, part_of
from seamtell.pipeline.watch.journal import BatchRow, Journal
from seamtell.pipeline.watch.journal_folders import FolderState, note_published, unpublished
from seamtell.pipeline.watch.stored_digests import StoredDigests
from seamtell.pipeline.workspace import Workspace

__all__ = ["publish"]


def publish(ws: Workspace, journal: Journal, stored: StoredDigests) -> tuple[str, ...]:
    """Carry to store and decision files what only the journal holds.

    Parameters
    ----------
    ws : Workspace
    journal : Journal
    stored : StoredDigests
        Of the store of `ws`; brought up to date.

    Returns
    -------
    tuple of str
        Seams that the store got with other content meanwhile: now conflicts.

    Raises
    ------
    WorkspaceBusy
        Another command is writing; nothing was done.
    StorageProblem
        The disk refuses; what is missing is done the next time.
    """
    conflicts: tuple[str, ...] = ()
    waiting = journal.waiting_traces()
    if waiting:
        with workspace_lock(ws):
            conflicts = _to_store(ws, [traces for _, traces in waiting], stored)
        journal.forget_traces([number for number, _ in waiting])
    for number, name, state in unpublished(journal):
        _to_files(ws, name, state, journal.batches_of(number))
        note_published(journal, number, state)
    return conflicts


def _to_store(ws: Workspace, streams: list[bytes], stored: StoredDigests) -> tuple[str, ...]:
    stored.refresh()
    writer = StoreWriter(ws.traces_dir, digests=stored.by_seam)
    table = RejectedTable(ws.rejected_dir)
    conflicts = []
    for stream in streams:
        rows = pa.ipc.open_stream(stream).read_all()
        facts = rows.select(["source", "content_sha256"]).to_pylist()
        for trace, fact in zip(traces_of(rows), facts, strict=True):
            digest = writer.digest_of(trace.seam_id)
            if digest is None:
                writer.add(trace, fact["source"])
            elif digest != fact["content_sha256"]:
                # Another command stored other content under this name between decision and store.
                seam = StoredSeam(trace, fact["source"], fact["content_sha256"])
                add_conflict(table, seam, "the store holds this seam with other content; both are kept")
                conflicts.append(trace.seam_id)
    try:
        # Rejections first: were it the other way round, a kill between the two could lose one.
        table.save()
        writer.commit()
    except BaseException:
        stored.forget()
        raise
    return tuple(conflicts)


def _to_files(ws: Workspace, name: str, state: FolderState, batches: list[BatchRow]) -> None:
    """Write the parts that are not full and safe yet, then the record."""
    folder = ws.decisions_dir / name
    parts: dict[int, list[BatchRow]] = defaultdict(list)
    for batch in batches:
        parts[batch.part].append(batch)
    for number, members in parts.items():
        for file, schema, streams in (
            (INDICATIONS_FILE, indication_schema(), [batch.indications for batch in members]),
            (DECISIONS_FILE, decision_schema(), [batch.decisions for batch in members]),
        ):
            rows = (pa.ipc.open_stream(stream).read_all() for stream in streams)
            write_bytes_atomically(folder / file / part_name(number), part_of(schema, rows))
    write_bytes_atomically(folder / RECORD_FILE, _record(state).to_json())


def _record(state: FolderState) -> DecisionRecord:
    return DecisionRecord(
        **state.basis.model_dump(exclude={"day"}),
        decided_at=state.decided_at,
        input_digest=state.content_sha256,
        since=None,
        until=None,
        counts=DecisionCounts.of(state.tally),
    )
