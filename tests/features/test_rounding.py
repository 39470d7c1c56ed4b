import numpy as np
import pytest

from seamtell.features.rounding import GRID_BITS, grid_pct, on_grid


@pytest.mark.parametrize("highest", [1e-30, 0.3, 7.0, 64.0, 100.0, 1e6])
def test_grid_is_a_power_of_two_far_below_what_float32_resolves(highest):
    grid = grid_pct(np.array([highest, -highest / 3]))
    assert np.log2(grid) == np.rint(np.log2(grid))
    # numpy.spacing: distance to the next float32, 2^-23 of the leading power of two (IEEE 754).
    assert grid * 2 ** (GRID_BITS - 23) == pytest.approx(float(np.spacing(np.float32(highest))), rel=1e-6)


def test_rounding_errors_vanish_and_equal_peaks_are_equal():
    trace = np.array([7.0, 30.0, 7.0, 30.0])
    off = trace - (7.0 + 1e-13 * np.array([1, -3, 2, 5]))
    np.testing.assert_array_equal(on_grid(off, grid_pct(trace)), [0.0, 23.0, 0.0, 23.0])


def test_trace_of_zeros_stays_zero():
    assert on_grid(np.zeros(3), grid_pct(np.zeros(3))).tolist() == [0.0, 0.0, 0.0]
