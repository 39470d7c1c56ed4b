"""The files of a training that lie in the model folder beside the model itself.

``split.json`` says which sections trained the model and which were held out;
``out_of_fold.csv`` holds, for every section that trained it, what each candidate
answered when it had not seen that section's group. Neither holds a time of today
or a path, so equal data give equal bytes.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict

from seamtell.pipeline.files.export_text import spreadsheet_safe

__all__ = ["OUT_OF_FOLD_FILE", "SPLIT_FILE", "Split", "out_of_fold_csv"]

OUT_OF_FOLD_FILE = "out_of_fold.csv"
SPLIT_FILE = "split.json"


class Split(BaseModel):
    """Which sections may be used for what.

    Every section of the workspace that was there at training is in one of the first two
    lists, whether it met an indication or not.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    schema_version: int = 1
    training_section_ids: tuple[str, ...]
    held_out_section_ids: tuple[str, ...]
    cut_time: str
    """When the first held-out seam was welded; ISO 8601, UTC."""


def out_of_fold_csv(
    section_ids: tuple[str, ...],
    truths: NDArray[np.str_],
    folds: NDArray[np.int64],
    classes: tuple[str, ...],
    probabilities: Mapping[str, NDArray[np.float64]],
) -> bytes:
    """Lay out the out-of-fold answers as CSV.

    Parameters
    ----------
    section_ids : tuple of str, length n
    truths, folds : arrays of shape (n,)
    classes : tuple of str, length K
    probabilities : mapping of str to array of shape (n, K)
        For each candidate.

    Returns
    -------
    bytes
        UTF-8: ``section_id, fold, truth, p_<candidate>_<class>…``; every figure in full precision.
        An id that a spreadsheet would run as a formula is guarded by an apostrophe; the model
        card lists the same sections in the same order with their ids as they are.
    """
    import pandas as pd

    columns: dict[str, object] = {
        "section_id": [spreadsheet_safe(section_id) for section_id in section_ids],
        "fold": folds,
        "truth": truths,
    }
    for candidate, values in probabilities.items():
        for k, name in enumerate(classes):
            columns[f"p_{candidate}_{name}"] = values[:, k]
    return (
        pd.DataFrame(columns).to_csv(index=False, lineterminator="\n", float_format="%.17g").encode("utf-8")
    )
