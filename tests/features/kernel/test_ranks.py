"""Ranks among a few dozen numbers, against numpy's sort and its median."""

import numpy as np
import pytest
from numba import njit

from seamtell.features.baseline import _low_quantile
from seamtell.features.kernel.low_quantile import low_quantile
from seamtell.features.kernel.order_statistics import median_of_odd, more_small_steps
from seamtell.features.kernel.sort_vectors import SORTED, rank_in_registers, sort_in_registers
from seamtell.features.machine_code import OPTIONS

SPARE = 128


@njit(**OPTIONS)
def _sort(values, ascending):
    sort_in_registers(values, ascending)


@njit(**OPTIONS)
def _rank(values, ascending, order):
    return rank_in_registers(values, ascending, order)


@njit(**OPTIONS)
def _median(values, n, keys, places, scratch):
    return median_of_odd(values, n, keys, places, scratch)


@njit(**OPTIONS)
def _more(samples, n, limit, rank):
    return more_small_steps(samples, n, limit, rank)


@njit(**OPTIONS)
def _quantile(medians, count, width, start, order, seen, ascending):
    low_quantile(medians, count, width, start, order, seen, ascending)


def float32_means(rng, n):
    """As medians of blocks are: most of them different, or few different ones."""
    steps = rng.choice([0.0, 0.5, 1e-3])
    values = rng.normal(rng.choice([0.0, 7.0]), 1.0, (2, n))
    return np.float32(values if steps == 0.0 else np.round(values / steps) * steps).astype(float).mean(axis=0)


def test_sort_puts_any_numbers_in_ascending_order():
    rng = np.random.default_rng(0)
    for _ in range(300):
        values = rng.normal(size=SORTED) * 10.0 ** rng.integers(-300, 300, SORTED)
        values[rng.random(SORTED) < 0.2] = rng.choice([np.inf, -np.inf, 0.0, -0.0, 1.0])
        found = np.full(SORTED, np.nan)
        _sort(values, found)
        assert np.array_equal(found, np.sort(values))


def test_every_arrangement_of_zeros_and_ones_that_a_threshold_makes_is_sorted():
    # A network of comparators sorts everything when it sorts zeros and ones (Knuth 5.3.4, theorem Z);
    # among 64 these are too many, so those of random subsets of every size.
    rng = np.random.default_rng(1)
    for ones in range(SORTED + 1):
        for _ in range(20):
            values = np.zeros(SORTED)
            values[rng.choice(SORTED, ones, replace=False)] = 1.0
            found = np.empty(SORTED)
            _sort(values, found)
            assert np.array_equal(found, np.sort(values))


def test_places_are_sorted_along():
    rng = np.random.default_rng(2)
    for _ in range(300):
        values = float32_means(rng, SORTED)
        found, order = np.empty(SORTED), np.empty(SORTED, np.int64)
        assert _rank(values, found, order)
        assert np.array_equal(found, np.sort(values))
        assert np.array_equal(values[order], found)
        assert np.array_equal(np.sort(order), np.arange(SORTED))


def test_values_that_leave_no_room_for_a_place_are_refused():
    values = np.random.default_rng(3).normal(size=SORTED)
    assert not _rank(values, np.empty(SORTED), np.empty(SORTED, np.int64))


@pytest.mark.parametrize("n", [1, 3, 33, 63, 65, 67, 101, 6401])
def test_median_of_an_odd_number_of_values_is_that_of_numpy(n):
    rng = np.random.default_rng(n)
    for _ in range(50):
        values = float32_means(rng, n)
        padded = np.append(values, np.full(SPARE, np.nan))
        keys, places = np.empty(n + SPARE, np.float32), np.empty(n + SPARE, np.int64)
        assert _median(padded, n, keys, places, np.empty(n + SPARE)) == np.median(values)


def test_running_quantile_is_that_of_the_specification_whatever_the_values():
    rng = np.random.default_rng(5)
    for case in range(400):
        count, width = 2 * int(rng.integers(1, 200)) + 1, int(rng.integers(1, 80))
        values = float32_means(rng, count)
        if case % 4 == 0:  # no room for places in the lowest bits
            values = rng.normal(size=count) * 10.0 ** rng.integers(-30, 30, count)
        medians = np.append(values, np.full(SPARE, np.nan))
        start, ascending = np.empty(count + SPARE), np.empty(count + SPARE)
        order, seen = np.empty((2, 2 * count + SPARE), np.int64)
        _quantile(medians, count, width, start, order, seen, ascending)
        assert np.array_equal(start[:count], _low_quantile(values, width))
        assert np.array_equal(medians[:count], values)


@pytest.mark.parametrize("n", [1, 63, 64, 65, 1023])
def test_small_steps_are_counted_as_far_as_needed(n):
    rng = np.random.default_rng(n)
    samples = np.append(rng.normal(size=n + 1), np.full(SPARE, np.nan)).astype(np.float32)
    steps = np.abs(np.diff(samples[: n + 1]))
    for limit in np.float32([0.0, 0.1, 0.5, 1.0, 9.0]):
        small = int((steps < limit).sum())
        for rank in {0, small - 1, small, small + 1, (n - 1) // 2, n}:
            assert _more(samples, n, limit, rank) == (small > rank)
