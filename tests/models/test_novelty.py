from __future__ import annotations

import json

import numpy as np
import pytest
from scipy.spatial.distance import mahalanobis
from scipy.stats import binom
from sklearn.covariance import LedoitWolf

from seamtell.models.novelty import NoveltyModel, fit_novelty, fit_shape, usable_threshold


def draw(n: int, rng: np.random.Generator, d: int = 6) -> tuple[np.ndarray, np.ndarray]:
    mixing = np.random.default_rng(99).normal(size=(d, d))
    codes = rng.integers(0, 3, n)
    return rng.normal(size=(n, d)) @ mixing + 8.0 * np.eye(3, d)[codes], codes


def test_distances_are_those_of_scipy_with_the_covariance_of_scikit_learn() -> None:
    values, codes = draw(60, np.random.default_rng(1))
    scale = (np.percentile(values, 75, axis=0) - np.percentile(values, 25, axis=0)) / 1.3489795
    means = np.array([values[codes == c].mean(axis=0) for c in range(3)])
    pooled = LedoitWolf(assume_centered=True).fit((values - means[codes]) / scale)
    expected = [
        min(mahalanobis(x / scale, mean / scale, pooled.get_precision()) for mean in means) for x in values
    ]
    assert fit_shape(values, codes).distances(values) == pytest.approx(expected, rel=1e-6)


def test_a_gross_outlier_is_novel() -> None:
    values, codes = draw(200, np.random.default_rng(2))
    model, _ = fit_novelty(values, codes, np.arange(200) % 5)
    for column in range(6):
        outlier = values[:1].copy()
        outlier[0, column] += 300.0
        assert model.p_values(outlier)[0] == 1 / 201


def test_ordinary_indications_are_called_novel_no_more_often_than_stated() -> None:
    rng = np.random.default_rng(3)
    called, trials = 0, 0
    for _ in range(30):
        values, codes = draw(150, rng)
        model, _ = fit_novelty(values, codes, np.arange(150) % 5)
        called += (model.p_values(draw(100, rng)[0]) < 0.05).sum()
        trials += 100
    assert called <= binom.ppf(0.9999, trials, 0.05)
    assert called > 0


def test_fewer_sections_than_descriptors_still_give_distances() -> None:
    values, codes = draw(12, np.random.default_rng(4), d=40)
    model, distances = fit_novelty(values, codes, np.arange(12) % 3)
    assert np.isfinite(distances).all()
    assert np.isfinite(model.p_values(values)).all()


def test_a_constant_descriptor_does_no_harm() -> None:
    values, codes = draw(60, np.random.default_rng(5))
    values[:, 2] = 4.0
    model, _ = fit_novelty(values, codes, np.arange(60) % 3)
    assert (model.p_values(values) > 0.01).all()


def test_a_descriptor_that_is_almost_always_equal_is_scaled_by_its_spread() -> None:
    values, codes = draw(60, np.random.default_rng(6))
    values[:, 2] = np.where(np.arange(60) < 5, 1.0, 0.0)
    assert np.isfinite(fit_shape(values, codes).distances(values)).all()


def test_absurdly_large_descriptors_are_as_far_as_can_be() -> None:
    values, codes = draw(150, np.random.default_rng(7))
    model, _ = fit_novelty(values, codes, np.arange(150) % 3)
    absurd = np.tile([1e308, -1e308], (1, 3))
    assert model.p_values(absurd)[0] == 1 / 151


def test_a_descriptor_that_is_no_number_has_no_p_value() -> None:
    values, codes = draw(60, np.random.default_rng(8))
    model, _ = fit_novelty(values, codes, np.arange(60) % 3)
    values[1, 0] = np.nan
    assert np.isnan(model.p_values(values)).tolist() == [False, True] + [False] * 58


def test_the_document_gives_the_same_model_back() -> None:
    values, codes = draw(60, np.random.default_rng(9))
    model, _ = fit_novelty(values, codes, np.arange(60) % 3)
    again = NoveltyModel.from_document(json.loads(json.dumps(model.to_document())))
    assert (again.p_values(values + 1) == model.p_values(values + 1)).all()
    assert (again.shape.distances(values) == model.shape.distances(values)).all()


@pytest.mark.parametrize(
    ("sections", "smallest_is_novel", "second_is_novel"),
    [(20, True, False), (99, True, False), (100, True, False)],
)
def test_the_farthest_of_few_sections_counts_as_novel(sections, smallest_is_novel, second_is_novel) -> None:
    threshold = usable_threshold(0.01, sections)
    assert (1 / (sections + 1) < threshold) is smallest_is_novel
    assert (2 / (sections + 1) < threshold) is second_is_novel


def test_novelty_can_be_switched_off() -> None:
    assert usable_threshold(0.0, 20) == 0.0
