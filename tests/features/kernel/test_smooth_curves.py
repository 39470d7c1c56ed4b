"""Smooth curves of four channels at once, against SciPy's solver for banded equations."""

import numpy as np
import pytest
from numba import njit
from scipy.linalg import solveh_banded

from seamtell.features.baseline import _BENDING, _SLOPING
from seamtell.features.kernel.chain_vectors import FACTORS, smooth_lanes
from seamtell.features.kernel.folding import ENDS, TOGETHER, both_ends, fold, folded_rows, other_ends, unfold
from seamtell.features.kernel.lanes import EIGHT
from seamtell.features.machine_code import OPTIONS


@njit(**OPTIONS)
def _fold(values, count, channel, folded):
    fold(values, count, channel, folded)


@njit(**OPTIONS)
def _unfold(folded, count, channel, values):
    unfold(folded, count, channel, values)


@njit(**OPTIONS)
def _smooth(values, taken, curve, factors, count):
    smooth_lanes(values, taken, curve, factors, count)


def folded(channels, count):
    rows = np.empty(EIGHT * (count // 2 + 1))
    for k, channel in enumerate(channels):
        _fold(channel, count, k, rows)
    return rows


def whittaker(values, taken):
    """Eilers (2003): weights on the diagonal, and both penalties as products of difference matrices."""
    count = len(values)
    penalty = np.diag(np.asarray(taken, dtype=float))
    for order, weight in ((1, _SLOPING), (2, _BENDING)):
        step = np.diff(np.eye(count), order, axis=0)
        penalty += weight * step.T @ step
    bands = np.zeros((3, count))
    for k in range(3):
        bands[2 - k, k:] = np.diagonal(penalty, k)
    return solveh_banded(bands, np.where(taken, values, 0.0))


@pytest.mark.parametrize("count", [3, 5, 7, 65, 1001])
def test_curves_solve_the_penalised_equations_of_each_channel(count):
    rng = np.random.default_rng(count)
    values = rng.normal(7.0, 2.0, (TOGETHER, count))
    taken = rng.random((TOGETHER, count)) < np.array([[1.0], [0.7], [0.3], [0.1]])
    taken[:, count // 2 + 1 :] |= ~taken.any(axis=1)[:, None]
    lanes = folded(taken.astype(float), count).reshape(-1, EIGHT) > 0.0
    sets = np.packbits(lanes, axis=1, bitorder="little")[:, 0]
    curves = np.empty(EIGHT * (count // 2 + 1))
    _smooth(folded(values, count), sets, curves, np.empty(FACTORS * count), count)
    for k in range(TOGETHER):
        found = np.empty(count)
        _unfold(curves, count, k, found)
        np.testing.assert_allclose(found, whittaker(values[k], taken[k]), rtol=1e-9)


def test_folded_rows_go_from_both_ends_to_the_middle():
    rows = folded([np.arange(7.0) + 10.0 * k for k in range(TOGETHER)], 7).reshape(-1, EIGHT)
    assert len(rows) == folded_rows.py_func(7) == 4
    assert rows[:, :ENDS].tolist() == [[0.0, 6.0], [1.0, 5.0], [2.0, 4.0], [3.0, 3.0]]
    assert rows[0].tolist() == [0.0, 6.0, 10.0, 16.0, 20.0, 26.0, 30.0, 36.0]


@pytest.mark.parametrize(("lanes", "both"), [(0, 0), (0b1, 0b11), (0b1000, 0b1100), (0b01100001, 0b11110011)])
def test_channel_has_both_ends_or_none(lanes, both):
    assert both_ends.py_func(lanes) == both


@pytest.mark.parametrize(
    ("lanes", "others"), [(0, 0), (0b1, 0b10), (0b1000, 0b0100), (0b11010001, 0b11100010)]
)
def test_other_end_of_a_channel_lies_beside_it(lanes, others):
    assert other_ends.py_func(lanes) == others
    assert other_ends.py_func(others) == lanes
