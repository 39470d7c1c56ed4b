"""What the same candidates reach with every section of the pool: no lack of labels, no unseen size."""

from __future__ import annotations

import numpy as np

from learning.answering import CANDIDATES, Answer, asked_of, score
from learning.cells import BANDS, REAL_ONLY, Cell
from learning.rows import Rows
from seamtell.features.descriptors.registry import model_names
from seamtell.models.candidates import CANDIDATES as REGISTRY
from seamtell.models.class_weights import balanced_weights
from seamtell.models.labelled_table import ordered_classes

__all__ = ["reach_ceiling"]


def reach_ceiling(
    pool: Rows, test: Rows, recipes: tuple[str, ...], seed: int
) -> dict[str, tuple[Answer, ...]]:
    """Answers to the whole test (key ``""``), to each band and to each recipe, by candidate.

    Every candidate learns from all sections of the pool, those of the band or recipe among them.
    """
    classes = ordered_classes(pool.labels)
    codes = np.array([classes.index(label) for label in pool.labels.tolist()], dtype=np.int64)
    weights = balanced_weights(codes, len(classes))
    subsets = [Cell(REAL_ONLY, 0, 0)]
    subsets += [Cell(REAL_ONLY, 0, 0, band=band) for band in BANDS]
    subsets += [Cell(REAL_ONLY, 0, 0, recipe=recipe) for recipe in recipes]
    asked = {cell.left_out: test.take(asked_of(cell, pool, test)) for cell in subsets}
    found: dict[str, list[Answer]] = {key: [] for key in asked}
    for name in CANDIDATES:
        fitted = REGISTRY[name]().fit(pool.values, codes, weights, model_names(), classes, seed, pool.groups)
        for key, rows in asked.items():
            answers = np.array(classes)[fitted.predict_proba(rows.values).argmax(axis=1)]
            found[key].append(score(name, None, rows, answers))
    return {key: tuple(answers) for key, answers in found.items()}
