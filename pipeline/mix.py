"""The stage *mix*: how often each flaw was labelled, by any metadata column of the seams."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from seamtell.features.contracts import UNCLASSIFIED, Flaw
from seamtell.pipeline.decisions.files import TrialRecord, newest_decisions, read_decisions
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.evaluation.intervals import clopper_pearson
from seamtell.pipeline.files.atomic import write_bytes_atomically
from seamtell.pipeline.files.export_text import spreadsheet_safe
from seamtell.pipeline.store.seam_store import SeamStore
from seamtell.pipeline.workspace import Workspace

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "ALL_SEAMS",
    "MIX_LABELS",
    "NO_MODEL_WARNING",
    "RAW_LABELS_WARNING",
    "TRIAL_WARNING",
    "MixResult",
    "MixShare",
    "flaw_mix",
    "write_mix_csv",
]

ALL_SEAMS = "all"
"""Name of the group that holds every seam of the decisions."""

MIX_LABELS: tuple[str, ...] = (*(flaw.value for flaw in Flaw), UNCLASSIFIED)
"""Every flaw, then ``sound`` (a false indication), then ``unclassified``."""

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

_LEVEL = 0.95
_MOST_GROUPS = 500


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
        Metadata column of the groups; empty when there is one group, `ALL_SEAMS`.
    model_digest : str
        Of the model that labelled; empty when none did.
    shares : tuple of MixShare
        For each group, `ALL_SEAMS` first, every label of `MIX_LABELS`.
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
    """Count the labels of a folder of decisions.

    Parameters
    ----------
    decisions : Path, optional
        Default: the newest decisions of the workspace. A trial run is only counted when named.
    by : str
        A metadata column of the seam store, for example ``line``; empty for no groups.

    Raises
    ------
    BadInput
        No decisions, an unknown column, one with too many values, or a seam that the store lost.
    """
    folder = decisions or newest_decisions(ws)
    indications, seams, record = read_decisions(folder, trial=decisions is not None)
    groups = seams[["seam_id"]].assign(group=_group_of(ws, seams, by) if by else ALL_SEAMS)
    labelled = indications.merge(groups, on="seam_id", how="left", validate="many_to_one")
    shares = _shares(ALL_SEAMS, labelled["label"])
    n_seams = {ALL_SEAMS: len(seams)}
    if by:
        for group, members in groups.groupby("group", sort=True):
            shares += _shares(str(group), labelled.loc[labelled["group"] == group, "label"])
            n_seams[str(group)] = len(members)
    return MixResult(
        folder,
        by,
        record.model_digest,
        tuple(shares),
        n_seams,
        trial=isinstance(record, TrialRecord),
        physics_only=isinstance(record, TrialRecord) and record.physics_only,
        deviation=f"{record.model_id} was {record.deviation.sentence}" if record.deviation else "",
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


def _group_of(ws: Workspace, seams: pd.DataFrame, by: str) -> list[str]:
    """Value of the column `by` for each seam, as text; an empty one reads ``(empty)``."""
    metadata = SeamStore(ws.traces_dir).metadata()
    columns = [name for name in metadata.columns if name not in ("seam_id", "welded_at", "content_sha256")]
    if by not in columns:
        raise BadInput(f"no metadata column '{by}'", where="--by", do=f"choose one of {', '.join(columns)}")
    values = metadata.set_index("seam_id")[by].reindex(seams["seam_id"])
    lost = ~seams["seam_id"].isin(metadata["seam_id"])
    if lost.any():
        raise BadInput(
            f"seam '{seams.loc[lost, 'seam_id'].iloc[0]}' of the decisions is not in the store",
            do="name decisions of this workspace",
        )
    text = values.astype(object).where(values.notna(), "").astype(str)
    text = text.where(text != "", "(empty)")
    if text.nunique() > _MOST_GROUPS:
        raise BadInput(
            f"column '{by}' has {text.nunique()} values, at most {_MOST_GROUPS} can be grouped",
            where="--by",
            do="choose a coarser column",
        )
    # A group must not be taken for the group of all seams.
    return text.where(text != ALL_SEAMS, f"{ALL_SEAMS} ({by})").tolist()


def _shares(group: str, labels: pd.Series) -> list[MixShare]:
    n = len(labels)
    counts = labels.value_counts()
    shares = []
    for label in MIX_LABELS:
        k = int(counts.get(label, 0))
        low, high = clopper_pearson(k, n, _LEVEL) if n else (None, None)
        shares.append(MixShare(group, label, k, n, k / n if n else None, low, high))
    return shares
