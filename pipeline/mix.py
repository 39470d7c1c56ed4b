"""The stage *mix*, raw: how often each flaw was labelled, by any metadata column of the seams."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from seamtell.pipeline.counted_decisions import CountedDecisions, deviation_of, read_decided
from seamtell.pipeline.decisions.files import TrialRecord
from seamtell.pipeline.files.atomic import write_bytes_atomically
from seamtell.pipeline.files.export_text import spreadsheet_safe
from seamtell.pipeline.flaw_mix.making import raw_counts
from seamtell.pipeline.production.decided import ALL_SEAMS
from seamtell.pipeline.workspace import Workspace

__all__ = [
    "NO_MODEL_WARNING",
    "RAW_LABELS_WARNING",
    "TRIAL_WARNING",
    "MixResult",
    "MixShare",
    "flaw_mix",
    "raw_mix",
    "write_mix_csv",
]

RAW_LABELS_WARNING = (
    "these are raw labels, not yet corrected for the classifier's confusion: a share may be off by as much "
    "as the classifier mistakes one flaw for another, and the intervals do not contain that"
)

NO_MODEL_WARNING = (
    "no model labelled these decisions: a flaw with count 0 was not looked for, which does not mean there "
    "is none. To do: approve a model, then classify again"
)

TRIAL_WARNING = (
    "counted from a trial run: the labels are of a model that nobody approved, and no figure here may be "
    "taken for the shop's flaw mix"
)


@dataclass(frozen=True)
class MixShare:
    """Share of one label among the indications of one group.

    Parameters
    ----------
    group, label : str
    count, n : int
        Indications with this label, and all indications of the group.
    share, low, high : float or None
        With the exact 95 % interval; None when the group has no indication.
    """

    group: str
    label: str
    count: int
    n: int
    share: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True)
class MixResult:
    """The flaw mix.

    Parameters
    ----------
    folder : Path
        Decisions it was counted from.
    by : str
        Column of the groups; empty when there is one group, `ALL_SEAMS`.
    model_digest : str
        Of the model that labelled; empty when none did.
    shares : tuple of MixShare
        For each group, `ALL_SEAMS` first, every answer of `ANSWERS`.
    seams : mapping of str to int
        Seams of each group.
    trial : bool
        Counted from a trial run, because it was named: the labels are of an unapproved model.
    physics_only : bool
        That model was learnt from simulation alone.
    deviation : str
        The model was approved against failed criteria: which, why and until when.
    """

    folder: Path
    by: str
    model_digest: str
    shares: tuple[MixShare, ...]
    seams: dict[str, int]
    trial: bool = False
    physics_only: bool = False
    deviation: str = ""


def flaw_mix(ws: Workspace, decisions: Path | None = None, by: str = "") -> MixResult:
    """Count the labels of a folder of decisions; `read_decided` and `Decided.counted` say what is raised."""
    return raw_mix(read_decided(ws, decisions).counted(by))


def raw_mix(counted: CountedDecisions) -> MixResult:
    """Labels of counted decisions as they stand, `ALL_SEAMS` first."""
    cells, record = counted.cells, counted.decided.record
    chosen = {ALL_SEAMS: cells.all, **{name: cells.of(counted.by, name) for name in counted.groups}}
    shares = [
        MixShare(group, one.label, one.count, int(answers.sum()), one.share, one.low, one.high)
        for group, own in chosen.items()
        for answers in (cells.answers[own].sum(axis=0),)
        for one in raw_counts(answers)
    ]
    return MixResult(
        counted.decided.folder,
        counted.by,
        record.model_digest,
        tuple(shares),
        {group: int(cells.seams[own].sum()) for group, own in chosen.items()},
        trial=counted.decided.trial,
        physics_only=isinstance(record, TrialRecord) and record.physics_only,
        deviation=deviation_of(record),
    )


def write_mix_csv(result: MixResult, path: Path) -> None:
    """Write the shares as CSV, one row a group and label; no text in it can act in a spreadsheet.

    Raises
    ------
    StorageProblem
        The file cannot be written.
    """
    import pandas as pd

    rows = [(spreadsheet_safe(s.group), s.label, s.count, s.n, s.share, s.low, s.high) for s in result.shares]
    columns = ["label", "count", "indications", "share", "low_95", "high_95"]
    table = pd.DataFrame(rows, columns=[spreadsheet_safe(result.by or "group"), *columns])
    write_bytes_atomically(path, table.to_csv(index=False, lineterminator="\n").encode("utf-8"))
