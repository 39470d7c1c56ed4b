"""Write the invented shop to disk: traces, sections, limits, reference runs, and the hidden truth apart."""

from __future__ import annotations

import csv
import io
import shutil
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from math import isnan
from pathlib import Path

import pyarrow.parquet as pq

from seamtell.data_synth.cutting import Cut, SeamRecord
from seamtell.data_synth.reference_blank import blank_text, physics_text, reference_runs, weekly_checks
from seamtell.data_synth.shop import InventedSeam, invent_shop
from seamtell.data_synth.shop_plan import ShopPlan, limits_text
from seamtell.features.contracts import SeamTrace
from seamtell.pipeline.errors import BadInput, Refused
from seamtell.pipeline.store.section_rows import SECTION_COLUMNS
from seamtell.pipeline.synth_layout import (
    CONTRACT_SCHEMA,
    PROFILE_TEXT,
    contract_file_bytes,
    contract_table,
    text_file_bytes,
    text_file_name,
)

__all__ = ["HIDDEN_TRUTH_DIR", "SECTIONS_PER_SEAM", "SynthResult", "synth"]

HIDDEN_TRUTH_DIR = "hidden_truth"
"""No other command reads this folder; it is there for people who want to check.

Its two tables are CSV under another suffix, so that ``ingest`` of the whole shop passes them by.
"""
SECTIONS_PER_SEAM = 0.22
"""How many sections are cut when nobody says."""

_TEXT_LINE = "L1"
_STAGING_DIR = ".tmp-synth"
_GROUP_SEAMS = 256
_TRUTH_COLUMNS = ("seam_id", "label", "cause", "start_mm", "end_mm", "side", "depth_mm", "width_mm")
Watch = Callable[[Iterable[InventedSeam]], Iterable[InventedSeam]]


@dataclass(frozen=True)
class SynthResult:
    """What was written.

    Parameters
    ----------
    traces_dir : Path
        Text files of line L1, one a seam, read through `profile_path`.
    parquet_path : Path
        Seams of line L2 in one file, contract columns.
    physics_path : Path
        Heads and sheets as the shop knows them: round numbers, not those it is simulated with.
    reference_dir : Path
        Runs of the reference blank to fit the heads with, one folder a line, contract layout.
    checks_dir : Path
        Weekly runs of it to check the heads with, laid out alike.
    """

    folder: Path
    traces_dir: Path
    parquet_path: Path
    profile_path: Path
    sections_path: Path
    limits_path: Path
    physics_path: Path
    reference_dir: Path
    checks_dir: Path
    text_seams: int = 0
    parquet_seams: int = 0
    sections: int = 0
    reference_runs: int = 0
    check_runs: int = 0

    @property
    def blank_path(self) -> Path:
        """File of the reference blank, beside its runs."""
        return self.reference_dir / "blank.toml"


def synth(
    folder: Path,
    *,
    seams: int,
    seed: int,
    sections: int | None = None,
    plan: ShopPlan | None = None,
    watch: Watch = iter,
) -> SynthResult:
    """Invent Marram Bay Carriage Works in `folder`; the same call gives the same bytes.

    Parameters
    ----------
    folder : Path
        Made when missing.
    seams, seed : int
    sections : int, optional
        Destructive sections; default 22 in a hundred seams. Fewer when the traces do not
        show enough to aim at.
    watch : callable, optional
        Wraps the seams as they are made, for a progress bar.

    Raises
    ------
    BadInput
        Numbers out of range, or `folder` is a file.
    Refused
        Something that this call would write is already there.
    """
    if seams < 1 or seed < 0 or (sections is not None and sections < 0):
        raise BadInput(
            f"{seams} seams, seed {seed}, sections {sections}; expected a seam and nothing negative",
            do="mend the number",
        )
    result = _paths(folder)
    _refuse_to_overwrite(result)
    staging = folder / _STAGING_DIR
    if staging.exists():
        shutil.rmtree(staging)
    staged = _paths(staging)
    staged.traces_dir.mkdir(parents=True)
    try:
        shop = invent_shop(seams, seed, plan)
        records, n_text = _write_traces(staged, watch(shop.seams()))
        cuts = shop.sections(records, round(seams * SECTIONS_PER_SEAM) if sections is None else sections)
        _write_tables(staged, cuts, records, shop.plan)
        n_runs = _write_reference(staged, shop.plan, seed)
        n_checks = _write_runs(staged.checks_dir, weekly_checks(shop.plan, seed))
        for name in _targets():
            (staging / name).rename(folder / name)
    finally:
        shutil.rmtree(staging, ignore_errors=True)
    return replace(
        _paths(folder),
        text_seams=n_text,
        parquet_seams=seams - n_text,
        sections=len(cuts),
        reference_runs=n_runs,
        check_runs=n_checks,
    )


def _paths(folder: Path) -> SynthResult:
    traces, parquet, profile, table, limits, physics, reference, checks, _ = (
        folder / name for name in _targets()
    )
    return SynthResult(folder, traces, parquet, profile, table, limits, physics, reference, checks)


def _targets() -> tuple[str, ...]:
    return (
        "traces",
        "seams.parquet",
        "profile.toml",
        "sections.csv",
        "limits.toml",
        "physics.toml",
        "reference",
        "checks",
        HIDDEN_TRUTH_DIR,
    )


def _refuse_to_overwrite(result: SynthResult) -> None:
    if result.folder.exists() and not result.folder.is_dir():
        raise BadInput(
            "this is a file, expected a folder", where=str(result.folder), do="choose another name"
        )
    there = [name for name in _targets() if (result.folder / name).exists()]
    if there:
        raise Refused(
            f"{', '.join(there)} already there, nothing was changed",
            where=str(result.folder),
            do="choose an empty folder, or remove them yourself",
        )


def _write_traces(staged: SynthResult, seams: Iterable[InventedSeam]) -> tuple[list[SeamRecord], int]:
    records: list[SeamRecord] = []
    waiting: list[SeamTrace] = []
    n_text = 0
    with pq.ParquetWriter(staged.parquet_path, CONTRACT_SCHEMA, compression="zstd") as writer:
        for seam in seams:
            records.append(seam.record)
            if seam.trace.line == _TEXT_LINE:
                path = staged.traces_dir / text_file_name(seam.trace)
                path.write_bytes(text_file_bytes(seam.trace))
                n_text += 1
                continue
            waiting.append(seam.trace)
            if len(waiting) == _GROUP_SEAMS:
                writer.write_table(contract_table(waiting))
                waiting.clear()
        if waiting:
            writer.write_table(contract_table(waiting))
    return records, n_text


def _write_tables(
    staged: SynthResult, cuts: Sequence[Cut], records: Sequence[SeamRecord], plan: ShopPlan
) -> None:
    staged.profile_path.write_text(PROFILE_TEXT, encoding="utf-8", newline="\n")
    staged.limits_path.write_text(limits_text(plan), encoding="utf-8", newline="\n")
    sections = [[_text(getattr(cut, name)) for name in SECTION_COLUMNS] for cut in cuts]
    staged.sections_path.write_bytes(_csv(SECTION_COLUMNS, sections))
    hidden = staged.folder / HIDDEN_TRUTH_DIR
    hidden.mkdir()
    flaws = [
        [record.seam_id, *(_text(getattr(flaw, name)) for name in _TRUTH_COLUMNS[1:])]
        for record in records
        for flaw in record.flaws
    ]
    (hidden / "flaws.truth").write_bytes(_csv(_TRUTH_COLUMNS, flaws))
    truths = [[cut.section_id, cut.true_flaw, cut.true_cause] for cut in cuts]
    (hidden / "sections.truth").write_bytes(_csv(("section_id", "true_flaw", "true_cause"), truths))


def _write_reference(staged: SynthResult, plan: ShopPlan, seed: int) -> int:
    staged.physics_path.write_text(physics_text(plan), encoding="utf-8", newline="\n")
    staged.reference_dir.mkdir()
    staged.blank_path.write_text(blank_text(plan), encoding="utf-8", newline="\n")
    return _write_runs(staged.reference_dir, reference_runs(plan, seed))


def _write_runs(folder: Path, runs: Iterable[SeamTrace]) -> int:
    """Write each run to the folder of its line; how many there are."""
    count = 0
    for run in runs:
        own = folder / run.line
        own.mkdir(parents=True, exist_ok=True)
        (own / f"{run.seam_id}.csv").write_bytes(contract_file_bytes(run))
        count += 1
    return count


def _text(value: object) -> str:
    if isinstance(value, float):
        return "" if isnan(value) else f"{value:.6g}"
    return str(value)


def _csv(columns: Sequence[str], rows: Iterable[Sequence[str]]) -> bytes:
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(rows)
    return stream.getvalue().encode("utf-8")
