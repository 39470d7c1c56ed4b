"""The stage *train*: from sectioned indications to a new model folder.

Equal data, settings and seed give a byte-identical folder, so nothing in it knows
the time, the workspace or the model's number.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import replace
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
from seamtell.pipeline.settings import Settings, TrainSettings, read_settings
from seamtell.pipeline.store.sections import read_sections
from seamtell.pipeline.tracking.runs import CANDIDATE, TRIAL, RunRecord, record_run
from seamtell.pipeline.tracking.training_run import physics_only_run, training_run
from seamtell.pipeline.training_files import OUT_OF_FOLD_FILE, SPLIT_FILE, Split, out_of_fold_csv
from seamtell.pipeline.training_result import ClassCount, TrainPhysics, TrainResult
from seamtell.pipeline.workspace import Workspace

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from seamtell.models.flaw_model import FlawModel
    from seamtell.models.model_card import ModelCard
    from seamtell.models.physics_only_model import PhysicsOnlyModel
    from seamtell.models.simulated_table import SimulatedTable
    from seamtell.models.training import TrainingResult
    from seamtell.pipeline.labelled import Labelled

__all__ = [
    "ClassCount",
    "TooFewSections",
    "TrainPhysics",
    "TrainResult",
    "next_model_id",
    "split_sections",
    "train",
]


def train(ws: Workspace, *, physics: TrainPhysics | str = TrainPhysics.NONE, now: datetime) -> TrainResult:
    """Train on the older sections and save a new model; the newest stay held out.

    With too few sections for two classes, and simulated flaws to learn from, the
    model is learnt from simulation alone, and the sections are kept for judging it.

    Parameters
    ----------
    physics : TrainPhysics or str
        Which simulated flaws join the sections.
    now : datetime
        Timezone-aware; goes to experiment tracking only.

    Raises
    ------
    BadInput
        No sections, or too few of them, and no simulated flaws to go by; or those are
        missing or out of date.
    WorkspaceBusy
        Another command holds the workspace.
    StorageProblem
        The model folder cannot be written.
    """
    settings = read_settings(ws.settings_path)
    physics = TrainPhysics(physics)
    with workspace_lock(ws):
        result, run = _train_locked(ws, settings, physics, now)
    alias = TRIAL if result.physics_only else CANDIDATE
    return replace(result, tracked=record_run(ws, settings, run, alias))


class TooFewSections(BadInput):
    """Fewer than two classes have enough sections to learn from."""


def _train_locked(
    ws: Workspace, settings: Settings, physics: TrainPhysics, now: datetime
) -> tuple[TrainResult, RunRecord]:
    """Train and save; what is left is to tell the tracking server, which may take its time."""
    simulated = _simulated(ws, physics)
    if simulated is not None and read_sections(ws).empty:
        return _train_physics_only(ws, settings, simulated, None, physics, now)
    labelled = load_labelled(ws, settings)
    try:
        split, table = _older_sections(labelled, settings.train)
    except TooFewSections:
        if simulated is None:
            raise
        return _train_physics_only(ws, settings, simulated, labelled, physics, now)
    return _train_on_sections(ws, settings, labelled, split, table, simulated, physics, now)


def _simulated(ws: Workspace, physics: TrainPhysics) -> SimulatedTable | None:
    if physics is TrainPhysics.NONE:
        return None
    from seamtell.pipeline.physics.simulated_sections import load_simulated

    return load_simulated(ws, physics.value)


def _older_sections(labelled: Labelled, settings: TrainSettings) -> tuple[Split, LabelledTable]:
    if labelled.matched["group"].nunique() < 2:
        # Nothing can be held out; how many sections are missing says more than that.
        _check_enough(Counter(labelled.table.truths.tolist()), settings)
    split = split_sections(labelled.matched, settings.holdout_share)
    table = labelled.table.rows(np.isin(labelled.table.section_ids, split.training_section_ids))
    _check_enough(Counter(table.truths.tolist()), settings)
    return split, table


def _train_on_sections(
    ws: Workspace,
    settings: Settings,
    labelled: Labelled,
    split: Split,
    table: LabelledTable,
    simulated: SimulatedTable | None,
    physics: TrainPhysics,
    now: datetime,
) -> tuple[TrainResult, RunRecord]:
    from seamtell.models.training import train_flaw_model

    if simulated is not None:
        # A flaw put into a held-out coil would show the fit that coil's sound parts.
        held_out = labelled.matched["section_id"].isin(list(split.held_out_section_ids))
        unseen = labelled.matched.loc[held_out, "group"].to_numpy(dtype=str)
        simulated = simulated.rows(~np.isin(simulated.groups, unseen))
    result = train_flaw_model(table, _plan(settings.train), simulated)
    model_id, folder, digest = _save(ws, result.model, _files(result, split))
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
    trained = TrainResult(
        model_id=model_id,
        folder=folder,
        digest=digest,
        candidate_table=tuple(result.candidate_table),
        class_counts=_class_counts(labelled.matched, split, table.truths, settings.train),
        warnings=tuple(result.warnings),
        left_out_classes=tuple(result.left_out_classes),
        cut_time=split.cut_time,
        tracked=False,
        physics=physics,
        simulated_weights=result.simulated_weights,
        simulated_flaws=_simulated_flaws(result.model.card),
    )
    return trained, run


def _train_physics_only(
    ws: Workspace,
    settings: Settings,
    simulated: SimulatedTable,
    labelled: Labelled | None,
    physics: TrainPhysics,
    now: datetime,
) -> tuple[TrainResult, RunRecord]:
    from seamtell.models.training import train_physics_only

    # Every section stays unseen, so that all of them can judge the model.
    split = Split(training_section_ids=(), held_out_section_ids=(), cut_time="")
    kept: tuple[str, ...] = ()
    if labelled is not None:
        ids = tuple(sorted(labelled.matched["section_id"].astype(str)))
        split = split.model_copy(update={"held_out_section_ids": ids})
        simulated = simulated.rows(~np.isin(simulated.groups, labelled.matched["group"].to_numpy(dtype=str)))
        kept = (f"{len(ids)} sections are too few to learn from: none was used, all are kept for judging",)
    result = train_physics_only(simulated, _plan(settings.train))
    model_id, folder, digest = _save(ws, result.model, {SPLIT_FILE: _split_json(split)})
    run = physics_only_run(
        model_id, digest, settings, result, settings_bytes=ws.settings_path.read_bytes(), now=now
    )
    trained = TrainResult(
        model_id=model_id,
        folder=folder,
        digest=digest,
        candidate_table=result.candidate_table,
        class_counts=_class_counts(
            None if labelled is None else labelled.matched, split, np.array([], dtype=str), settings.train
        ),
        warnings=(*result.warnings, *kept),
        left_out_classes=result.left_out_classes,
        cut_time="",
        tracked=False,
        physics=physics,
        physics_only=True,
        simulated_flaws=_simulated_flaws(result.model.card),
    )
    return trained, run


def _simulated_flaws(card: ModelCard) -> dict[str, int]:
    part = card.physics
    return {} if part is None else dict(zip(card.classes, part.flaws_per_class, strict=True))


def _save(
    ws: Workspace, model: FlawModel | PhysicsOnlyModel, files: Mapping[str, bytes]
) -> tuple[str, Path, str]:
    """Save under the next free name; returns the name, the folder and the digest."""
    from seamtell.models.model_file import save_model

    model_id = next_model_id(ws)
    folder = ws.models_dir / model_id
    make_folder(ws.models_dir)
    with storage_errors(folder):
        return model_id, folder, save_model(model, folder, files)


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
    matched: pd.DataFrame | None, split: Split, fitted_truths: NDArray[np.str_], settings: TrainSettings
) -> tuple[ClassCount, ...]:
    truths = np.array([], dtype=str) if matched is None else matched["truth"].to_numpy(dtype=str)
    ids = np.array([], dtype=str) if matched is None else matched["section_id"].to_numpy(dtype=str)
    older = np.isin(ids, split.training_section_ids)
    counts = []
    for flaw in Flaw:
        of_class = truths == flaw.value
        fitted = int((fitted_truths == flaw.value).sum())
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
    raise TooFewSections(
        f"too few sections to train: at least two classes need {least} older sections each that meet "
        "an indication",
        where="sections",
        do=f"cut and add sections ({needs}); a part of the newest is always held out",
    )


def _files(result: TrainingResult, split: Split) -> dict[str, bytes]:
    """Extra files of the model folder."""
    return {
        SPLIT_FILE: _split_json(split),
        OUT_OF_FOLD_FILE: out_of_fold_csv(
            result.section_ids, result.truths, result.folds, result.model.classes, result.out_of_fold
        ),
    }


def _split_json(split: Split) -> bytes:
    return (split.model_dump_json(indent=2) + "\n").encode("utf-8")
