from __future__ import annotations

import lightgbm
import numpy as np
import pytest

from seamtell.models.boosted_trees import MOST_TREES, BoostedTrees, FittedBoostedTrees


def fit(k: int, n: int = 90) -> tuple[FittedBoostedTrees, np.ndarray]:
    rng = np.random.default_rng(1)
    codes = np.arange(n) % k
    values = rng.normal(size=(n, 4)) + codes[:, None]
    names, classes = ("a", "b", "c", "d"), tuple(f"k{i}" for i in range(k))
    return BoostedTrees().fit(values, codes, np.ones(n), names, classes, 1), values


@pytest.mark.parametrize("k", [2, 3, 5, 7])
def test_there_are_at_most_300_trees_over_all_classes(k: int) -> None:
    fitted, _ = fit(k)
    booster = lightgbm.Booster(model_str=fitted.to_files()["lightgbm.txt"].decode())
    assert MOST_TREES - k < booster.num_trees() <= MOST_TREES


def test_lightgbm_itself_reads_the_file_and_answers_the_same() -> None:
    fitted, values = fit(3)
    booster = lightgbm.Booster(model_str=fitted.to_files()["lightgbm.txt"].decode())
    assert (booster.predict(values) == fitted.predict_proba(values)).all()


def test_sixteen_sections_are_enough_to_fit() -> None:
    fitted, values = fit(2, n=16)
    assert np.isfinite(fitted.predict_proba(values)).all()
