"""One batch of new seams: decided on under the trust that holds now, and made durable."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np
import pyarrow as pa

from seamtell.features.contracts import UNCLASSIFIED
from seamtell.features.trace_batch import TraceBatch
from seamtell.pipeline.decisions.decided_batch import DecidedBatch
from seamtell.pipeline.decisions.decision_tables import decision_table, indication_table
from seamtell.pipeline.decisions.tally import Tally
from seamtell.pipeline.store.rows import StoredSeam, to_table
from seamtell.pipeline.watch.arrivals import Arrival
from seamtell.pipeline.watch.current_decider import CurrentDecider
from seamtell.pipeline.watch.intake import Kind, TakenSeam
from seamtell.pipeline.watch.journal import DecidedSeam, FileOutcome, FileRow, Journal
from seamtell.pipeline.watch.journal_folders import DecidedRows, record_batch
from seamtell.pipeline.watch.news import Listener, SeamDecided, Warned

__all__ = ["BATCH_SEAMS", "NewSeams", "decide_and_record"]

BATCH_SEAMS = 256
"""New seams in memory at most."""


@dataclass
class NewSeams:
    """What is gathered for one batch.

    Parameters
    ----------
    seams : dict of str to (StoredSeam, Arrival)
        By seam id.
    files : list of FileRow
        Whose seams all have their decision once this batch has.
    """

    seams: dict[str, tuple[StoredSeam, Arrival]] = field(default_factory=dict)
    files: list[FileRow] = field(default_factory=list)

    def take(self, taken: TakenSeam, arrival: Arrival) -> Kind:
        """Gather a new seam, and say what it is to those gathered before."""
        if taken.kind is not Kind.NEW or taken.stored is None:
            return taken.kind
        seam_id = taken.stored.trace.seam_id
        if seam_id not in self.seams:
            self.seams[seam_id] = taken.stored, arrival
            return Kind.NEW
        same = self.seams[seam_id][0].sha256 == taken.stored.sha256
        return Kind.KNOWN if same else Kind.CONFLICT

    def done(self, arrival: Arrival) -> None:
        """All seams of a file were taken."""
        self.files.append(FileRow(arrival.path, arrival.stamp, FileOutcome.DECIDED))

    def drop(self, arrival: Arrival) -> None:
        """Leave a file out: it changed while it was read."""
        self.seams = {name: one for name, one in self.seams.items() if one[1] is not arrival}


def decide_and_record(
    new: NewSeams, journal: Journal, current: CurrentDecider, clock: Callable[[], datetime], hear: Listener
) -> None:
    """Decide on the gathered seams, make the decisions durable, and tell of them.

    Raises
    ------
    BadInput
        Limits or settings cannot be read; nothing was decided.
    StorageProblem
        The disk refuses; nothing was decided.
    """
    if not new.seams:
        journal.note_files(new.files)
        return
    now = clock()
    deciding = current.at(now)
    stored = [seam for seam, _ in new.seams.values()]
    traces = [seam.trace for seam in stored]
    suspended = deciding.suspensions.codes(
        [trace.line for trace in traces], [trace.welded_at for trace in traces]
    )
    decided = deciding.decider.decide(list(new.seams), TraceBatch.of_traces(traces), suspended=suspended)
    decisions = decision_table(decided, deciding.basis.model_digest)
    rows = DecidedRows(
        basis=deciding.basis,
        decided_at=now,
        seams=[
            DecidedSeam(seam.trace.seam_id, seam.sha256, verdict)
            for seam, verdict in zip(stored, decisions.column("verdict").to_pylist(), strict=True)
        ],
        tally=Tally.of(decided),
        decisions=_stream(decisions),
        indications=_stream(indication_table(decided)),
        traces=_stream(to_table(stored)),
    )
    record_batch(journal, rows, new.files)
    _tell(decided, decisions, [arrival for _, arrival in new.seams.values()], hear)


def _tell(decided: DecidedBatch, decisions: pa.Table, arrivals: list[Arrival], hear: Listener) -> None:
    durable_s = time.perf_counter()
    names = np.array((*decided.answers.classes, UNCLASSIFIED), dtype=object)
    labels = names[decided.answers.codes]
    columns = ("seam_id", "verdict", "limit_verdict", "reason")
    for i, facts in enumerate(decisions.select(columns).to_pylist()):
        hear(
            SeamDecided(
                **facts,
                file=str(arrivals[i].path),
                labels=tuple(labels[decided.described.seam == i].tolist()),
                latency_ms=1e3 * (durable_s - arrivals[i].complete_s),
            )
        )
    if decided.timed_out:
        hear(
            Warned(
                "the model ran out of its time; the limit rule decides alone until something it rests on "
                "changes. To do: look after the machine's load, then start the watch again"
            )
        )


def _stream(table: pa.Table) -> bytes:
    sink = pa.BufferOutputStream()
    with pa.ipc.new_stream(sink, table.schema) as writer:
        writer.write_table(table)
    data: bytes = sink.getvalue().to_pybytes()
    return data
