"""The stage *implant*: simulated sections, from flaws in recorded seams or from seams simulated as a whole.

A flaw is drawn from the ranges that the physics file expects, put where the seam is
sound, and looked for as in production. What gives an indication becomes a row with the
descriptors and the label that was simulated; what gives none is counted. The result
depends on the seed, not on the number of workers.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from math import ceil
from pathlib import Path

import numpy as np

from seamtell.data_synth.theory import THEORY_VERSION
from seamtell.features.contracts import Flaw
from seamtell.features.descriptors import registry
from seamtell.models.simulated_table import SimulatedTable
from seamtell.pipeline.describe import batches
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.files.locking import workspace_lock
from seamtell.pipeline.physics.flaw_places import Drawing, Placed, place_flaws
from seamtell.pipeline.physics.flawed_seams import FlawOutcome, RowSettings, flaw_rows
from seamtell.pipeline.physics.ground import Ground, InParallel, read_ground, take_hosts
from seamtell.pipeline.physics.simulated_sections import (
    CauseCount,
    Origin,
    SimulatedRecord,
    head_used,
    write_simulated,
)
from seamtell.pipeline.settings import indication_settings
from seamtell.pipeline.version import software_version
from seamtell.pipeline.worker_processes import worker_pool
from seamtell.pipeline.workspace import Workspace

__all__ = ["DEFAULT_PER_CLASS", "ImplantResult", "implant"]

DEFAULT_PER_CLASS = 400

_FLAWS_PER_SEAM = 2.0
_BATCH_SEAMS = 16


@dataclass(frozen=True)
class ImplantResult:
    """What was simulated.

    Parameters
    ----------
    path : Path
        Parquet file of the kept rows.
    record : SimulatedRecord
        Counts, and everything that the rows were made with.
    """

    path: Path
    record: SimulatedRecord

    @property
    def kept(self) -> int:
        """Rows that training can read."""
        return sum(count.kept for count in self.record.counts)


def implant(
    ws: Workspace,
    *,
    origin: Origin | str = Origin.IMPLANTED,
    per_class: int = DEFAULT_PER_CLASS,
    seed: int = 1,
    workers: int = 1,
    now: datetime,
) -> ImplantResult:
    """Simulate `per_class` flaws of every expected class and keep those that give an indication.

    Parameters
    ----------
    origin : Origin or str
        ``implanted`` into the store's own seams, or ``simulated`` as a whole.
    workers : int
        Processes; the result does not depend on it.
    now : datetime
        For the record.

    Raises
    ------
    BadInput
        No physics file, no recipe with joint and limits, no recorded seam with a sound
        stretch, sheets that differ between physics file and traces, or a number out of range.
    SeamtellError
        Head, joint or flaw ranges lie outside the theory's range.
    """
    origin = Origin(origin)
    if per_class < 1 or seed < 0:
        raise BadInput(
            f"{per_class} flaws a class with seed {seed}, expected one at least and a seed from 0 on",
            do="mend the number",
        )
    with workspace_lock(ws), _in_parallel(workers) as in_parallel:
        ground = read_ground(ws)
        placed = _place(ground, origin, per_class, seed, in_parallel)
        settings = RowSettings(
            indication_settings(ground.settings.describe), ground.settings.match.extra_tolerance_mm
        )
        described = in_parallel(partial(flaw_rows, settings=settings), batches(placed.seams, _BATCH_SEAMS))
        outcomes = [outcome for rows in described for outcome in rows]
        table = _table(ground, origin, outcomes)
        record = _record(ground, origin, per_class, seed, placed, outcomes, table, now)
        return ImplantResult(write_simulated(ws, table, record), record)


@contextmanager
def _in_parallel(workers: int) -> Iterator[InParallel]:
    """A `map` over one process or several."""
    if workers < 2:
        yield map
        return
    with worker_pool(workers) as pool:
        yield pool.map


def _place(ground: Ground, origin: Origin, per_class: int, seed: int, in_parallel: InParallel) -> Placed:
    ranges = ground.physics.flaw_ranges
    if not ranges.labels:
        raise BadInput(
            "every class is switched off, so there is nothing to simulate",
            where=str(ground.ws.physics_path),
            do="expect one class at least",
        )
    recorded = origin is Origin.IMPLANTED
    n_rooms = ceil(per_class * len(ranges.labels) / _FLAWS_PER_SEAM)
    rng = np.random.default_rng(np.random.SeedSequence(seed, spawn_key=(0,)))
    hosts = take_hosts(ground, n_rooms, rng, in_parallel, recorded=recorded)
    drawing = Drawing(ranges, per_class, ground.joints, ground.heads, seed)
    return place_flaws(hosts, n_rooms, drawing, recorded=recorded)


def _table(ground: Ground, origin: Origin, outcomes: Sequence[FlawOutcome]) -> SimulatedTable:
    kept = [(outcome, outcome.values) for outcome in outcomes if outcome.values is not None]
    names = registry.model_names()
    sizes = [float("nan") if one.flaw.label is Flaw.SOUND else one.flaw.length_mm for one, _ in kept]
    return SimulatedTable(
        values=np.array([values for _, values in kept]).reshape(len(kept), len(names)),
        names=names,
        truths=np.array([one.flaw.label.value for one, _ in kept], dtype=str),
        groups=np.array([one.group for one, _ in kept], dtype=str),
        recipes=np.array([one.recipe for one, _ in kept], dtype=str),
        sizes_mm=np.array(sizes, dtype=np.float64),
        schema_digest=registry.schema_digest(),
        origin=origin.value,
        theory_version=THEORY_VERSION,
        physics_digest=ground.physics.digest,
    )


def _record(
    ground: Ground,
    origin: Origin,
    per_class: int,
    seed: int,
    placed: Placed,
    outcomes: Sequence[FlawOutcome],
    table: SimulatedTable,
    now: datetime,
) -> SimulatedRecord:
    hosts = {seam.trace.seam_id for seam in placed.seams if seam.is_recorded}
    return SimulatedRecord(
        origin=origin,
        theory_version=THEORY_VERSION,
        physics_digest=ground.physics.digest,
        limits_digest=ground.limits.digest,
        schema_digest=registry.schema_digest(),
        table_digest=table.digest(),
        thresholds=ground.settings.describe,
        heads={line: head_used(fitted) for line, fitted in ground.heads.items()},
        seed=seed,
        per_class=per_class,
        counts=_counts(outcomes),
        kept_by_recipe=dict(sorted(Counter(table.recipes.tolist()).items())),
        host_seams=len(hosts),
        without_place=placed.without_place,
        left_out=ground.left_out,
        made_at=now.isoformat(),
        software_version=software_version(),
    )


def _counts(outcomes: Sequence[FlawOutcome]) -> tuple[CauseCount, ...]:
    order = [flaw.value for flaw in Flaw]
    causes = sorted(
        {(one.flaw.label.value, one.flaw.cause) for one in outcomes}, key=lambda c: (order.index(c[0]), c[1])
    )
    return tuple(_count(label, cause, outcomes) for label, cause in causes)


def _count(label: str, cause: str, outcomes: Sequence[FlawOutcome]) -> CauseCount:
    own = [one for one in outcomes if one.flaw.cause == cause]
    smallest = sorted(own, key=lambda one: one.flaw.length_mm)[: ceil(len(own) / 3)]
    return CauseCount(
        label=label,
        cause=cause,
        drawn=len(own),
        indicated=sum(one.indicated for one in own),
        kept=sum(one.values is not None for one in own),
        smallest_drawn=len(smallest),
        smallest_indicated=sum(one.indicated for one in smallest),
    )
