"""How much each class still needs sections, by the criteria of the workspace."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seamtell.features.contracts import Flaw
from seamtell.features.errors import SeamtellError
from seamtell.pipeline.evaluation.files import read_acceptance, read_evaluation
from seamtell.pipeline.sign_off.criteria import read_criteria
from seamtell.pipeline.sign_off.needed import NeededSections, needed_sections
from seamtell.pipeline.workspace import Workspace

__all__ = ["WANTED_SECTIONS", "class_needs", "need_from_counts", "need_from_criteria"]

WANTED_SECTIONS = 30
"""Sections of a class that are wanted where no evaluation says how many its criteria take."""
_UNSAID = 100
"""Missing sections of a class whose criterion fails and cannot say how many it takes."""
_MOST = 300


def class_needs(ws: Workspace, model_id: str, sections: pd.DataFrame) -> NDArray[np.float64]:
    """Need of each class, 0 to 1, in the order of `Flaw`.

    Missing sections over those needed in all, the largest over the criteria of a class; where the
    model was not evaluated, or the criteria ask nothing of a class, from `WANTED_SECTIONS`.
    """
    need = need_from_counts(sections["flaw"].value_counts().to_dict())
    try:
        criteria, _ = read_criteria(ws.criteria_path)
        folder = ws.reports_dir / model_id
        result = read_evaluation(folder)
        asked = needed_sections(criteria, result, read_acceptance(folder))
    except SeamtellError:
        return need
    return np.maximum(need, need_from_criteria(asked))


def need_from_criteria(asked: Sequence[NeededSections]) -> NDArray[np.float64]:
    """Largest need of each class over the criteria that ask for it, shape (5,), in the order of `Flaw`."""
    return np.array(
        [max([0.0, *(_need(one) for one in asked if one.outcome.label == flaw.value)]) for flaw in Flaw]
    )


def need_from_counts(counts: Mapping[Any, int]) -> NDArray[np.float64]:
    """Missing over wanted sections of each class, shape (5,), in the order of `Flaw`.

    Examples
    --------
    >>> need_from_counts({"pinhole": 15, "sound": 90}).tolist()
    [0.5, 1.0, 1.0, 1.0, 0.0]
    """
    return np.array([max(0.0, 1.0 - counts.get(flaw.value, 0) / WANTED_SECTIONS) for flaw in Flaw])


def _need(one: NeededSections) -> float:
    if one.outcome.passed:
        return 0.0
    missing = min(_MOST, one.missing if one.missing is not None else _UNSAID)
    return missing / max(1, missing + one.have)
