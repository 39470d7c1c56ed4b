"""What a model costs for one indication: trees and logistic regression, alone and as whole answers."""

from __future__ import annotations

import numpy as np

from seamtell.features.descriptors import registry
from seamtell.models.flaw_model import FlawModel
from seamtell.models.labelled_table import LabelledTable, TrainingPlan
from seamtell.models.training import train_flaw_model
from speed.load import Load
from speed.timing import RUNS, Measured, measured

__all__ = ["learnt", "model_rows"]

_ROWS = 4096
_NEAR_MM = 10.0
_WORDS = {"lightgbm": "LightGBM, at most 300 trees in all", "logistic": "scaler and logistic regression"}


def learnt(load: Load, candidate: str) -> FlawModel:
    """Train one candidate on every indication of the load.

    The label is the true flaw whose extent lies within 10 mm of the peak, else `sound`. This is for timing:
    the table is far cleaner than sections are, and no figure of quality comes from it.
    """
    described = load.described
    seams = [load.seams[i] for i in described.seam]
    truths = [_truth(seam.record.flaws, at) for seam, at in zip(seams, described.peak_mm, strict=True)]
    traces = [seam.trace for seam in seams]
    table = LabelledTable(
        section_ids=tuple(str(i) for i in range(len(truths))),
        values=described.descriptors,
        names=tuple(registry.names()),
        truths=np.array(truths),
        groups=np.array([trace.seam_id for trace in traces]),
        times=np.array([trace.welded_at.replace(tzinfo=None) for trace in traces], dtype="datetime64[us]"),
        recipes=np.array([trace.recipe for trace in traces]),
        schema_digest=registry.schema_digest(),
    )
    return train_flaw_model(table, TrainingPlan(candidates=(candidate,), folds=3)).model


def model_rows(load: Load, models: dict[str, FlawModel], *, runs: int = RUNS) -> list[Measured]:
    """Time probabilities alone, and answers with calibration, conformal sets and novelty, one core."""
    values = np.resize(load.described.descriptors, (_ROWS, load.described.descriptors.shape[1]))
    recipes = [load.traces[0].recipe] * _ROWS
    rows = []
    for name, model in models.items():
        rows.append(
            measured(
                f"model_{name}",
                f"{_WORDS[name]}: probabilities",
                "indications/s",
                _ROWS,
                lambda m=model, n=name: m.candidate_probabilities(n, values),
                runs,
            )
        )
        rows.append(
            measured(
                f"answer_{name}",
                f"{_WORDS[name]}: whole answers",
                "indications/s",
                _ROWS,
                lambda m=model: m.answer(values, recipes),
                runs,
            )
        )
    return rows


def _truth(flaws: tuple, peak_mm: float) -> str:
    near = [flaw for flaw in flaws if flaw.start_mm - _NEAR_MM <= peak_mm <= flaw.end_mm + _NEAR_MM]
    return str(near[0].label) if near else "sound"
