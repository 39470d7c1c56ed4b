"""Headline figures counted again by somebody who has only the CSV tables.

Reads ``sections.csv`` of a report folder, and a table of sized flaws with the columns
``size_mm`` and ``hit``, with pandas and statsmodels. Knows nothing of the package: what
the words mean is written here once more, from the description of the columns.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
from statsmodels.genmod.families import Binomial
from statsmodels.genmod.generalized_linear_model import GLM
from statsmodels.stats.contingency_tables import mcnemar
from statsmodels.stats.inter_rater import cohens_kappa
from statsmodels.stats.proportion import proportion_confint

JUDGED = ["right", "wrong", "abstained", "missed", "quiet"]
INDICATED = ["right", "wrong", "abstained"]


def read_scope(folder: Path, scope: str) -> pd.DataFrame:
    """The sections of one scope; an empty cell is empty text."""
    rows = pd.read_csv(folder / "sections.csv", keep_default_na=False)
    return rows[rows["scope"] == scope]


def exact_share(holds: pd.Series, alpha: float = 0.05) -> dict[str, float]:
    """Share with its exact interval."""
    k, n = int(holds.sum()), len(holds)
    low, high = proportion_confint(k, n, alpha=alpha, method="beta")
    return {"n": n, "count": k, "estimate": k / n, "low": low, "high": high}


def recalls(rows: pd.DataFrame, alpha: float = 0.05) -> dict[str, dict[str, float]]:
    """Right among all sections of a flaw, and among the indicated ones of sound seam."""
    judged = rows[rows["outcome"].isin(JUDGED) & (rows["outcome"] != "quiet")]
    return {
        str(truth): exact_share(of_class["outcome"] == "right", alpha)
        for truth, of_class in judged.groupby("truth")
    }


def precisions(rows: pd.DataFrame) -> dict[str, dict[str, float]]:
    """Right among the sections labelled so."""
    labelled = rows[rows["outcome"].isin(["right", "wrong"])]
    return {
        str(answer): exact_share(called["outcome"] == "right")
        for answer, called in labelled.groupby("answer")
    }


def abstention(rows: pd.DataFrame) -> dict[str, float]:
    """Without a label among the indicated."""
    indicated = rows[rows["outcome"].isin(INDICATED)]
    return exact_share(indicated["outcome"] == "abstained")


def forced(rows: pd.DataFrame) -> pd.DataFrame:
    """Truth and label of the highest probability; a missed flaw is labelled ``missed``."""
    counted = rows[rows["outcome"].isin([*INDICATED, "missed"])].copy()
    counted["label"] = np.where(counted["outcome"] == "missed", "missed", counted["top_label"])
    return counted


def macro_f1(rows: pd.DataFrame) -> float:
    """Mean F1 of the classes that have a section."""
    counted = forced(rows)
    scores = []
    for truth in counted["truth"].unique():
        true, called = counted["truth"] == truth, counted["label"] == truth
        scores.append(2 * (true & called).sum() / (true.sum() + called.sum()))
    return float(np.mean(scores))


def _square_table(rows: pd.DataFrame) -> tuple[list[str], np.ndarray]:
    counted = forced(rows)
    names = sorted(set(counted["truth"]) | set(counted["label"]))
    table = pd.crosstab(counted["truth"], counted["label"]).reindex(index=names, columns=names, fill_value=0)
    return names, table.to_numpy(float)


def kappa(rows: pd.DataFrame) -> float:
    """Cohen's kappa of truth and forced label."""
    return float(cohens_kappa(_square_table(rows)[1], return_results=False))


def weighted_kappa(rows: pd.DataFrame, missed_class: float, wrong_class: float, needless_cut: float) -> float:
    """Kappa where each confusion weighs what it costs."""
    names, table = _square_table(rows)
    weights = np.full(table.shape, wrong_class)
    for column, answer in enumerate(names):
        if answer in ("missed", "sound"):
            weights[:, column] = missed_class
    if "sound" in names:
        weights[names.index("sound"), :] = needless_cut
    np.fill_diagonal(weights, 0.0)
    return float(cohens_kappa(table, weights=weights, return_results=False))


def against_limit_rule(rows: pd.DataFrame) -> dict[str, float]:
    """Flaws that only one of the two would have somebody look at, with the exact McNemar test."""
    flaws = rows[rows["outcome"].isin(JUDGED) & (rows["truth"] != "sound")]
    model = ~flaws["answer"].isin(["sound", "missed"])
    rule = flaws["limit_exceeded"].astype(str) == "True"
    table = [
        [int((model & rule).sum()), int((model & ~rule).sum())],
        [int((~model & rule).sum()), int((~model & ~rule).sum())],
    ]
    return {
        "sections": len(flaws),
        "only_model": table[0][1],
        "only_rival": table[1][0],
        "p_exact": float(mcnemar(table, exact=True).pvalue),
        "difference": float(model.mean() - rule.mean()),
    }


def detection_curve(points: pd.DataFrame) -> dict[str, float]:
    """Logit in the log of the size by a generalised linear model: a50 and a90."""
    design = np.column_stack([np.ones(len(points)), np.log(points["size_mm"])])
    intercept, slope = GLM(points["hit"].to_numpy(float), design, family=Binomial()).fit().params
    return {
        "a50_mm": float(np.exp(-intercept / slope)),
        "a90_mm": float(np.exp((np.log(9.0) - intercept) / slope)),
    }
