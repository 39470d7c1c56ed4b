"""The stage *train*: from sectioned indications to a new model folder.

Equal data, settings and seed give a byte-identical folder, so nothing in it knows
the time, the workspace or the model's number.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from seamtell.features.contracts import Flaw
from seamtell.models.labelled_table import LabelledTable, TrainingPlan
from seamtell.models.splits import assert_no_leak, time_ordered_holdout
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.files.atomic import make_folder, storage_errors
from seamtell.pipeline.files.locking import workspace_lock
from seamtell.pipeline.labelled import load_labelled
from seamtell.pipeline.settings import TrainSettings, read_settings
from seamtell.pipeline.tracking.runs import record_run
from seamtell.pipeline.tracking.training_run import training_run
from seamtell.pipeline.training_files import OUT_OF_FOLD_FILE, SPLIT_FILE, Split, out_of_fold_csv
from seamtell.pipeline.workspace import Workspace

if TYPE_CHECKING:
    import pandas as pd

    from seamtell.models.training import CandidateScore, TrainingResult

__all__ = ["ClassCount", "TrainResult", "next_model_id", "split_sections", "train"]


@dataclass(frozen=True)
class ClassCount:
    """Sections of one class.

    Parameters
    ----------
    flaw : str
    training, held_out : int
        Sections on either side of the split.
    fitted : int
        Training sections that met an indication: what the model learnt from.
    missing : int
        How many more such sections the class needs before it is learnt.
    """

    flaw: str
    training: int
    held_out: int
    fitted: int
    missing: int


@dataclass(frozen=True)
class TrainResult:
    """A trained model and how it came about.

    Parameters
    ----------
    model_id : str
        For example ``m-0001``.
    folder : Path
    digest : str
        SHA-256 over the folder's files.
    candidate_table : tuple of CandidateScore
        Every candidate, from simplest to most flexible, with the chosen one marked.
    class_counts : tuple of ClassCount
    warnings : tuple of str
    left_out_classes : tuple of str
    cut_time : str
        When the first held-out seam was welded.
    tracked : bool
        Whether the tracking server has the run; else it waits in the outbox.
    """

    model_id: str
    folder: Path
    digest: str
    candidate_table: tuple[CandidateScore, ...]
    class_counts: tuple[ClassCount, ...]
    warnings: tuple[str, ...]
    left_out_classes: tuple[str, ...]
    cut_time: str
    tracked: bool


def train(ws: Workspace, *, now: datetime) -> TrainResult:
    """Train on the older sections and save a new model; the newest stay held out.

    Parameters
    ----------
    now : datetime
        Timezone-aware; goes to experiment tracking only.

    Raises
    ------
    BadInput
        No sections, or too few of them.
    WorkspaceBusy
        Another command holds the workspace.
    StorageProblem
        The model folder cannot be written.
    """
    from seamtell.models.model_file import save_model
    from seamtell.models.training import train_flaw_model

    settings = read_settings(ws.settings_path)
    with workspace_lock(ws):
        labelled = load_labelled(ws, settings)
        if labelled.matched["group"].nunique() < 2:
            # Nothing can be held out; how many sections are missing says more than that.
            _check_enough(Counter(labelled.table.truths.tolist()), settings.train)
        split = split_sections(labelled.matched, settings.train.holdout_share)
        table = labelled.table.rows(np.isin(labelled.table.section_ids, split.training_section_ids))
        counts = _class_counts(labelled.matched, split, table, settings.train)
        _check_enough({count.flaw: count.fitted for count in counts}, settings.train)
        result = train_flaw_model(table, _plan(settings.train))
        files = _files(result, split)
        model_id = next_model_id(ws)
        folder = ws.models_dir / model_id
        make_folder(ws.models_dir)
        with storage_errors(folder):
            digest = save_model(result.model, folder, files)
    run = training_run(
        model_id,
        digest,
        settings,
        labelled,
        result,
        table,
        settings_bytes=ws.settings_path.read_bytes(),
        now=now,
    )
    return TrainResult(
        model_id=model_id,
        folder=folder,
        digest=digest,
        candidate_table=tuple(result.candidate_table),
        class_counts=counts,
        warnings=tuple(result.warnings),
        left_out_classes=tuple(result.left_out_classes),
        cut_time=split.cut_time,
        tracked=record_run(ws, settings, run),
    )


def split_sections(matched: pd.DataFrame, holdout_share: float) -> Split:
    """Hold out the newest sections, whole coils (or seams) at a time, matched or not.

    Parameters
    ----------
    matched : pandas.DataFrame
        One row a section: ``section_id, group, welded_at``.
    holdout_share : float
    """
    times = matched["welded_at"].dt.tz_convert(None).to_numpy().astype("datetime64[us]")
    groups = matched["group"].to_numpy(dtype=str)
    held_out = time_ordered_holdout(groups, times, holdout_share)
    assert_no_leak(groups[~held_out], groups[held_out])
    ids = matched["section_id"].astype(str).to_numpy()
    return Split(
        training_section_ids=tuple(sorted(ids[~held_out].tolist())),
        held_out_section_ids=tuple(sorted(ids[held_out].tolist())),
        cut_time=f"{np.datetime_as_string(times[held_out].min(), 's')}Z",
    )


def next_model_id(ws: Workspace) -> str:
    """The next free model name; numbers are never used twice while a folder keeps them."""
    taken = [path.name[2:] for path in ws.models_dir.glob("m-*")] if ws.models_dir.is_dir() else []
    return f"m-{max((int(number) for number in taken if number.isdigit()), default=0) + 1:04d}"


def _plan(settings: TrainSettings) -> TrainingPlan:
    return TrainingPlan(
        candidates=settings.candidates,
        folds=settings.folds,
        seed=settings.seed,
        error_rate=settings.error_rate,
        novelty_p=settings.novelty_p,
        min_sections_per_class=settings.min_sections_per_class,
    )


def _class_counts(
    matched: pd.DataFrame, split: Split, table: LabelledTable, settings: TrainSettings
) -> tuple[ClassCount, ...]:
    older = matched["section_id"].isin(list(split.training_section_ids))
    counts = []
    for flaw in Flaw:
        of_class = matched["truth"] == flaw.value
        fitted = int((table.truths == flaw.value).sum())
        counts.append(
            ClassCount(
                flaw=flaw.value,
                training=int((of_class & older).sum()),
                held_out=int((of_class & ~older).sum()),
                fitted=fitted,
                missing=max(0, settings.min_sections_per_class - fitted),
            )
        )
    return tuple(counts)


def _check_enough(fitted: Mapping[str, int], settings: TrainSettings) -> None:
    """Refuse to train on fewer than two classes, and say what is missing of each."""
    least = settings.min_sections_per_class
    missing = {flaw.value: max(0, least - fitted.get(flaw.value, 0)) for flaw in Flaw}
    if sum(count == 0 for count in missing.values()) >= 2:
        return
    needs = ", ".join(f"{flaw} {count} more" for flaw, count in missing.items() if count)
    raise BadInput(
        f"too few sections to train: at least two classes need {least} older sections each that meet "
        "an indication",
        where="sections",
        do=f"cut and add sections ({needs}); a part of the newest is always held out",
    )


def _files(result: TrainingResult, split: Split) -> dict[str, bytes]:
    """Extra files of the model folder."""
    return {
        SPLIT_FILE: (split.model_dump_json(indent=2) + "\n").encode("utf-8"),
        OUT_OF_FOLD_FILE: out_of_fold_csv(
            result.section_ids, result.truths, result.folds, result.model.classes, result.out_of_fold
        ),
    }
