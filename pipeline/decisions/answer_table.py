"""The answers of a flaw model as columns, the same in decision files and in MLflow."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from seamtell.features.contracts import Flaw

if TYPE_CHECKING:
    import pandas as pd

    from seamtell.models.answers import Answers

__all__ = ["ANSWER_COLUMNS", "LIST_MARK", "answer_table"]

LIST_MARK = "+"
"""Between the members of a list in one cell: ``pinhole+edge_notch``, ``specular+scatter``."""

ANSWER_COLUMNS = ("label", *(f"p_{flaw.value}" for flaw in Flaw), "label_set", "novelty_p", "reason")


def answer_table(answers: Answers) -> pd.DataFrame:
    """Lay out `answers` with one row per indication and always the same columns.

    Returns
    -------
    pandas.DataFrame of n rows
        ``ANSWER_COLUMNS``. Every flaw has its ``p_`` column; NaN where the model gave no
        probability, and for a class that the model does not know.
    """
    import pandas as pd

    columns: dict[str, object] = {"label": list(answers.labels)}
    probabilities = np.asarray(answers.probabilities, dtype=float)
    for flaw in Flaw:
        known = flaw.value in answers.classes
        columns[f"p_{flaw.value}"] = (
            probabilities[:, answers.classes.index(flaw.value)]
            if known
            else np.full(len(answers.labels), np.nan)
        )
    columns["label_set"] = [LIST_MARK.join(members) for members in answers.label_sets]
    columns["novelty_p"] = np.asarray(answers.novelty_p, dtype=float)
    columns["reason"] = [str(reason) for reason in answers.reasons]
    return pd.DataFrame(columns, columns=list(ANSWER_COLUMNS))
