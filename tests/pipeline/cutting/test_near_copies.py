from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.distance import pdist, squareform
from scipy.stats import iqr

from seamtell.pipeline.cutting.near_copies import NEAR_COPY, Looks, near_copy_groups, scaled


def looks(points: np.ndarray, **given: object) -> Looks:
    n = len(points)
    facts = {
        "seams": np.array([f"s{i}" for i in range(n)]),
        "coils": np.array([""] * n),
        "lines": np.array([f"L{i}" for i in range(n)]),
        "position_mm": np.zeros(n),
    }
    return Looks(points, **{**facts, **given})  # type: ignore[arg-type]


def test_descriptors_are_scaled_by_the_interquartile_range_of_scipy() -> None:
    values = np.random.default_rng(1).normal(3.0, 7.0, size=(200, 4))
    expected = (values - np.median(values, axis=0)) / iqr(values, axis=0)
    assert scaled(values) == pytest.approx(np.clip(expected, -4, 4))


@pytest.mark.parametrize("odd", [np.nan, np.inf, -np.inf])
def test_odd_values_and_constant_descriptors_stay_finite(odd: float) -> None:
    values = np.array([[1.0, 5.0, odd], [2.0, 5.0, odd], [odd, 5.0, odd]])
    assert np.isfinite(scaled(values)).all()


def test_distances_are_root_mean_square_differences_as_scipy_has_them() -> None:
    points = np.random.default_rng(2).normal(size=(6, 5))
    expected = squareform(pdist(points)) / np.sqrt(5)
    others = np.arange(1, 6)
    assert looks(points).distances(0, others) == pytest.approx(expected[0, 1:])


def test_one_coil_and_one_position_of_a_line_count_as_nearer_and_one_seam_as_the_same() -> None:
    points = np.array([[0.0], [1.0], [1.0], [1.0]])
    given = looks(
        points,
        seams=np.array(["a", "a", "b", "c"]),
        coils=np.array(["k", "k", "k", ""]),
        lines=np.array(["L1"] * 4),
        position_mm=np.array([100.0, 300.0, 300.0, 104.0]),
    )
    assert given.distances(0, np.array([1, 2, 3])) == pytest.approx([0.0, 0.5, 0.7])


def test_leaders_of_two_groups_are_never_near_copies() -> None:
    points = np.random.default_rng(4).uniform(0, 3, size=(150, 2))
    worth = np.random.default_rng(5).random(150)
    group = near_copy_groups(looks(points), worth)
    leaders = [int(np.flatnonzero(group == g)[np.argmax(worth[group == g])]) for g in range(group.max() + 1)]
    apart = squareform(pdist(points[leaders])) / np.sqrt(2)
    assert apart[np.triu_indices(len(leaders), 1)].min() >= NEAR_COPY
    assert 1 < len(leaders) < 150
