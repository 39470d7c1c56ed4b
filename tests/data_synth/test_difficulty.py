"""The shop must be hard: neither a table of clean classes nor noise."""

from __future__ import annotations

import numpy as np
from lightgbm import LGBMClassifier
from numpy.typing import NDArray
from sklearn.linear_model import LogisticRegression
from sklearn.metrics import f1_score
from sklearn.model_selection import GroupKFold, cross_val_predict
from sklearn.pipeline import make_pipeline
from sklearn.preprocessing import StandardScaler
from sklearn.tree import DecisionTreeClassifier

from seamtell.data_synth.shop import simulate_sections
from seamtell.data_synth.shop_plan import ShopPlan
from seamtell.features.describer import analyse_seam, describe_seam
from seamtell.features.descriptors.registry import model_names, names

TWO = ("height_ratio_db", "specular_fwhm_beams")


def labelled(n_seams: int) -> tuple[NDArray[np.float64], NDArray[np.str_], NDArray[np.str_]]:
    """Descriptors, labels and seams of cuts that lie in an indication."""
    plan = ShopPlan()
    limits = {recipe.name: recipe.limits() for recipe in plan.recipes}
    values, labels, seams = [], [], []
    for seam in simulate_sections(plan, 77, n_seams):
        analysis = analyse_seam(seam.trace, limits[seam.trace.recipe])
        rows = describe_seam(analysis)
        for cut in seam.cuts:
            for row, found in zip(rows, analysis.indications, strict=True):
                if found.start_mm <= cut.position_mm <= found.end_mm:
                    values.append(row)
                    labels.append(cut.flaw.value)
                    seams.append(cut.seam_id)
    return np.array(values), np.array(labels), np.array(seams)


def test_classes_can_be_told_apart_but_not_trivially_and_two_rules_are_not_enough() -> None:
    values, labels, seams = labelled(700)
    assert len(labels) > 250
    model = list(model_names())
    columns = [names().index(name) for name in model]
    pair = [names().index(name) for name in TWO]
    linear = make_pipeline(StandardScaler(), LogisticRegression(C=0.1, max_iter=2000))
    boosted = LGBMClassifier(
        n_estimators=80, num_leaves=7, min_child_samples=5, n_jobs=1, random_state=0, verbose=-1
    )
    rules = DecisionTreeClassifier(max_leaf_nodes=6, random_state=0)

    def score(candidate, chosen: list[int]) -> float:
        folds = GroupKFold(4)
        answers = cross_val_predict(candidate, values[:, chosen], labels, groups=seams, cv=folds)
        return float(f1_score(labels, answers, average="macro"))

    logistic, two_rules = score(linear, columns), score(rules, pair)
    assert 0.65 < logistic < 0.95
    # The flexible candidate sees every descriptor, also those that name the recipe, and still errs.
    assert 0.65 < score(boosted, list(range(len(names())))) < 0.95
    assert two_rules < logistic - 0.08
