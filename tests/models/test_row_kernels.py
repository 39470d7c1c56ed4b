"""Row sums against NumPy's matrix product, and the same bits whatever the batch."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
from scipy.spatial.distance import cdist

from seamtell.models.row_kernels import nearest_distances, row_products

RNG = np.random.default_rng(4)
VALUES = RNG.normal(size=(331, 23)) * 10.0 ** RNG.integers(-3, 4, 23)
MATRIX = RNG.normal(size=(23, 5))
ROOT = np.tril(RNG.normal(size=(23, 23)))
CENTRES = RNG.normal(size=(4, 23)) * 50


def test_products_are_those_of_numpy() -> None:
    np.testing.assert_allclose(row_products(VALUES, MATRIX), VALUES @ MATRIX, rtol=1e-10, atol=1e-9)


@pytest.mark.parametrize("matrix", [ROOT, ROOT.T, RNG.normal(size=(23, 23))])
def test_distances_are_those_of_scipy(matrix: np.ndarray) -> None:
    expected = cdist(VALUES @ matrix, CENTRES).min(axis=1)  # scipy.spatial.distance
    np.testing.assert_allclose(nearest_distances(VALUES, matrix, CENTRES), expected, rtol=1e-12)


@pytest.mark.parametrize("size", [1, 2, 31, 32, 33, 100])
def test_a_row_has_the_same_bits_in_any_batch(size: int) -> None:
    cuts = range(0, len(VALUES), size)
    products = np.vstack([row_products(VALUES[i : i + size], MATRIX) for i in cuts])
    distances = np.concatenate([nearest_distances(VALUES[i : i + size], ROOT, CENTRES) for i in cuts])
    assert (products == row_products(VALUES, MATRIX)).all()
    assert (distances == nearest_distances(VALUES, ROOT, CENTRES)).all()


def test_several_threads_get_the_bits_of_one() -> None:
    alone = nearest_distances(VALUES, ROOT, CENTRES)
    with ThreadPoolExecutor(4) as pool:
        told = list(pool.map(lambda _: nearest_distances(VALUES, ROOT, CENTRES), range(40)))
    assert all((one == alone).all() for one in told)


def test_an_overflow_is_infinitely_far_and_does_not_hide_behind_a_nearer_centre() -> None:
    matrix = np.array([[1e300, 1.0], [-1e300, 1.0]])
    rows = np.array([[1e300, 1e300], [1.0, 1.0]])  # inf - inf in the first column
    assert nearest_distances(rows, matrix, np.zeros((3, 2))).tolist() == [np.inf, 2.0]


def test_rows_of_another_length_are_refused() -> None:
    with pytest.raises(ValueError, match=r"got rows of 3, expected 23"):
        row_products(np.ones((2, 3)), MATRIX)
    with pytest.raises(ValueError, match=r"got rows of 23 and centres of 3"):
        nearest_distances(VALUES, ROOT, np.ones((2, 3)))


def test_no_rows_give_no_distances() -> None:
    assert nearest_distances(np.empty((0, 23)), ROOT, CENTRES).shape == (0,)
