"""Answers of the cross-validation: each training section by a model that did not see its group.

Training keeps the probabilities of every candidate in ``out_of_fold.csv`` of the
model folder. Calibration is fitted on the other folds, a section is left out of
its own conformal pool, so nothing here judges itself. Novelty is not judged:
the model's novelty scores are its own training sections.
"""

from __future__ import annotations

import io
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seamtell.models.answers import Answers
from seamtell.models.calibration import Calibration, cross_calibrated, fit_calibration
from seamtell.models.conformal import leave_one_out_p_values, nonconformity
from seamtell.models.flaw_model import ModelCard, decide_labels
from seamtell.pipeline.errors import Refused
from seamtell.pipeline.training_files import OUT_OF_FOLD_FILE

__all__ = [
    "OutOfFold",
    "candidate_calibrations",
    "cross_validated_answers",
    "cross_validated_candidates",
    "out_of_fold",
]


@dataclass(frozen=True, eq=False)
class OutOfFold:
    """Out-of-fold probabilities, one row a section.

    Parameters
    ----------
    section_ids : tuple of str, length n
    folds : int array of shape (n,)
    codes : int array of shape (n,)
        True class of each row.
    candidates : mapping of str to array of shape (n, k)
    """

    section_ids: tuple[str, ...]
    folds: NDArray[np.int64]
    codes: NDArray[np.int64]
    candidates: Mapping[str, NDArray[np.float64]]


def out_of_fold(folder: Path, card: ModelCard) -> OutOfFold:
    """Read the out-of-fold answers of a model folder and check them against its card.

    Raises
    ------
    Refused
        The file is not there, not readable, or does not fit the model.
    """
    path = folder / OUT_OF_FOLD_FILE
    try:
        frame = pd.read_csv(io.BytesIO(path.read_bytes()), dtype={"truth": str}, keep_default_na=False)
        codes = np.array([card.classes.index(truth) for truth in frame["truth"]], dtype=np.int64)
        candidates = {
            name: frame[[f"p_{name}_{label}" for label in card.classes]].to_numpy(np.float64)
            for name in card.candidates
        }
        if len(frame) != len(card.training_section_ids):
            raise ValueError(f"got {len(frame)} rows, expected {len(card.training_section_ids)}")
    except (OSError, ValueError, KeyError) as problem:
        raise Refused(
            f"the out-of-fold answers do not fit the model ({problem})",
            where=str(path),
            do="train again with 'seamtell train'",
        ) from None
    # The CSV guards ids against spreadsheets; the card has the same sections in the same order.
    folds = frame["fold"].to_numpy(np.int64)
    return OutOfFold(card.training_section_ids, folds, codes, candidates)


def candidate_calibrations(oof: OutOfFold) -> dict[str, Calibration]:
    """Calibration of each candidate as training fits it, so that all are compared as they would be in use."""
    return {name: fit_calibration(raw, oof.codes) for name, raw in oof.candidates.items()}


def cross_validated_candidates(oof: OutOfFold) -> dict[str, NDArray[np.float64]]:
    """Probabilities of each candidate, calibrated on the other folds, on the rows of `oof`."""
    return {name: cross_calibrated(raw, oof.codes, oof.folds) for name, raw in oof.candidates.items()}


def cross_validated_answers(oof: OutOfFold, card: ModelCard) -> Answers:
    """Answers as the model gives them, for the rows of `oof`, from the chosen candidate."""
    raw = oof.candidates[card.chosen]
    n = len(raw)
    return decide_labels(
        classes=card.classes,
        probabilities=cross_calibrated(raw, oof.codes, oof.folds),
        p_values=leave_one_out_p_values(nonconformity(raw), oof.codes),
        novelty_p=np.full(n, np.nan),
        error_rate=card.error_rate,
        novelty_threshold_p=card.novelty_threshold_p,
        recipe_known=np.ones(n, dtype=bool),
    )
