"""The simulated sections of a workspace: a table of descriptors, and a record of what it was made with.

``physics/implanted.parquet`` or ``physics/simulated.parquet`` with a JSON record of the
same name beside it. Whoever reads them gets them only while everything they were made
with still holds: theory, physics file, limits, thresholds, descriptors, reference fits.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from pathlib import Path

import numpy as np
from pydantic import BaseModel, ConfigDict, ValidationError

from seamtell.data_synth.theory import THEORY_VERSION
from seamtell.features.contracts import Channel
from seamtell.features.descriptors import registry
from seamtell.models.simulated_table import SimulatedTable
from seamtell.pipeline.errors import BadInput, StorageProblem
from seamtell.pipeline.files.atomic import write_bytes_atomically, write_table_atomically
from seamtell.pipeline.limits_file import read_limits
from seamtell.pipeline.physics.physics_file import Physics, read_physics
from seamtell.pipeline.physics.reference_fit import FittedHead, fitted_head
from seamtell.pipeline.settings import DescribeSettings, read_settings
from seamtell.pipeline.workspace import Workspace

__all__ = [
    "CauseCount",
    "HeadUsed",
    "Origin",
    "SimulatedRecord",
    "head_used",
    "load_simulated",
    "read_record",
    "write_simulated",
]


class Origin(StrEnum):
    """Where simulated flaws were put."""

    IMPLANTED = "implanted"
    """Into recorded sound stretches of the shop's own seams."""
    SIMULATED = "simulated"
    """Into seams that are simulated from end to end."""


class _Record(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class CauseCount(_Record):
    """How many flaws of one cause were drawn, gave an indication, and were kept.

    Parameters
    ----------
    label, cause : str
        Class, and what exactly: the class again, or what looks like a flaw on sound metal.
    drawn : int
        Flaws that found a place.
    indicated : int
        Of these, with an indication where they lie.
    kept : int
        Of these, with an indication to themselves.
    smallest_drawn, smallest_indicated : int
        The same of the third with the least length.
    """

    label: str
    cause: str
    drawn: int
    indicated: int
    kept: int
    smallest_drawn: int
    smallest_indicated: int


class HeadUsed(_Record):
    """Head of a line as it was simulated."""

    aperture_sd_mm: float
    gain_db: dict[str, float]
    fitted: bool


class SimulatedRecord(_Record):
    """What a table of simulated sections was made with.

    Parameters
    ----------
    heads : mapping of line to HeadUsed
    host_seams : int
        Distinct recorded seams that took flaws; 0 for simulated seams.
    kept_by_recipe : mapping of str to int
        Flaws kept, by recipe.
    without_place : int
        Flaws that no stretch was long enough for.
    left_out : mapping of str to str
        Recipes and lines that were left out, and why.
    """

    schema_version: int = 1
    origin: Origin
    theory_version: str
    physics_digest: str
    limits_digest: str
    schema_digest: str
    table_digest: str
    thresholds: DescribeSettings
    heads: dict[str, HeadUsed]
    seed: int
    per_class: int
    counts: tuple[CauseCount, ...]
    kept_by_recipe: dict[str, int]
    host_seams: int
    without_place: int
    left_out: dict[str, str]
    made_at: str
    software_version: str


def head_used(fitted: FittedHead) -> HeadUsed:
    """Numbers of a fitted head that decide a simulated echo and can change with a new fit."""
    gain = {channel.value: round(float(fitted.gain_db[channel]), 6) for channel in Channel}
    aperture = round(float(fitted.head.aperture_sd_mm), 6)
    return HeadUsed(aperture_sd_mm=aperture, gain_db=gain, fitted=fitted.fitted)


def write_simulated(ws: Workspace, table: SimulatedTable, record: SimulatedRecord) -> Path:
    """Write table and record, each atomically; half a write is found by the next reader.

    Returns
    -------
    Path
        The Parquet file.
    """
    import pyarrow as pa

    path = _table_path(ws, record.origin)
    facts = {
        "truth": pa.array(table.truths.tolist(), pa.string()),
        "group": pa.array(table.groups.tolist(), pa.string()),
        "recipe": pa.array(table.recipes.tolist(), pa.string()),
        "size_mm": pa.array(table.sizes_mm, pa.float64()),
    }
    values = {name: pa.array(table.values[:, k]) for k, name in enumerate(table.names)}
    write_table_atomically(pa.table({**facts, **values}), path)
    write_bytes_atomically(
        path.with_suffix(".json"), (record.model_dump_json(indent=1) + "\n").encode("utf-8")
    )
    return path


def read_record(ws: Workspace, origin: Origin | str) -> SimulatedRecord:
    """Read the record alone, stale or not.

    Raises
    ------
    BadInput
        There is none, or it is not what ``seamtell implant`` writes.
    """
    origin = Origin(origin)
    path = _table_path(ws, origin).with_suffix(".json")
    if not path.is_file():
        raise BadInput(f"no {origin.value} sections yet", where=str(path), do=f"run '{_command(origin)}'")
    try:
        return SimulatedRecord.model_validate_json(path.read_bytes())
    except ValidationError:
        raise BadInput(
            "this record is not what 'seamtell implant' writes", where=str(path), do=_again(origin)
        ) from None


def load_simulated(ws: Workspace, origin: Origin | str) -> SimulatedTable:
    """Read the simulated sections, if everything they were made with still holds.

    Raises
    ------
    BadInput
        Missing, damaged, or made with another theory, physics file, limit file, set of
        descriptors, threshold or reference fit.
    """
    origin = Origin(origin)
    record = read_record(ws, origin)
    path = _table_path(ws, origin)
    changed = _changed(ws, record)
    if changed:
        raise BadInput(
            f"these {origin.value} sections were made with another {changed}",
            where=str(path),
            do=_again(origin),
        )
    table = _read_table(path, record)
    if table.digest() != record.table_digest:
        raise BadInput("table and record do not belong together", where=str(path), do=_again(origin))
    return table


def _changed(ws: Workspace, record: SimulatedRecord) -> str:
    """Name what no longer holds, empty when all does."""
    physics = read_physics(ws.physics_path)
    now: tuple[tuple[str, object, object], ...] = (
        ("version of the theory", THEORY_VERSION, record.theory_version),
        ("physics file", physics.digest, record.physics_digest),
        ("limit file", read_limits(ws.limits_path).digest, record.limits_digest),
        ("set of descriptors", registry.schema_digest(), record.schema_digest),
        ("threshold", read_settings(ws.settings_path).describe, record.thresholds),
        ("reference fit", _heads_now(ws, physics, record.heads), record.heads),
    )
    return next((what for what, is_now, was in now if is_now != was), "")


def _heads_now(ws: Workspace, physics: Physics, heads: Mapping[str, HeadUsed]) -> dict[str, HeadUsed]:
    return {line: head_used(fitted_head(ws, physics, line)) for line in heads}


def _read_table(path: Path, record: SimulatedRecord) -> SimulatedTable:
    import pyarrow as pa
    import pyarrow.parquet as pq

    names = registry.model_names()
    try:
        read = pq.read_table(path, columns=["truth", "group", "recipe", "size_mm", *names])
    except FileNotFoundError:
        raise BadInput("the table is gone", where=str(path), do=_again(record.origin)) from None
    except pa.ArrowInvalid:
        raise BadInput("the table is damaged", where=str(path), do=_again(record.origin)) from None
    except OSError as problem:
        raise StorageProblem(
            f"the table cannot be read: {problem}", where=str(path), do=_again(record.origin)
        ) from None
    columns = [read.column(name).to_numpy() for name in names]
    return SimulatedTable(
        values=np.column_stack(columns) if len(read) else np.empty((0, len(names))),
        names=names,
        truths=np.array(read.column("truth").to_pylist(), dtype=str),
        groups=np.array(read.column("group").to_pylist(), dtype=str),
        recipes=np.array(read.column("recipe").to_pylist(), dtype=str),
        sizes_mm=np.asarray(read.column("size_mm").to_numpy(), dtype=np.float64),
        schema_digest=record.schema_digest,
        origin=record.origin.value,
        theory_version=record.theory_version,
        physics_digest=record.physics_digest,
    )


def _table_path(ws: Workspace, origin: Origin) -> Path:
    return ws.physics_dir / f"{origin.value}.parquet"


def _command(origin: Origin) -> str:
    return "seamtell implant" + (" --simulated" if origin is Origin.SIMULATED else "")


def _again(origin: Origin) -> str:
    return f"run '{_command(origin)}' again"
