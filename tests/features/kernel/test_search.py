import numpy as np
import pytest
from numba import njit

from seamtell.features.kernel.search import AT_LEAST, BELOW, first_where, last_where
from seamtell.features.machine_code import OPTIONS

SPARE = 64


@njit(**OPTIONS)
def _search(what, e, first, last, level):
    return first_where(what, e, first, last, level), last_where(what, e, first, last, level)


@pytest.mark.parametrize("share", [0.0, 0.01, 0.5, 0.99, 1.0])
@pytest.mark.parametrize("what", [BELOW, AT_LEAST])
def test_search_finds_the_outermost_samples_of_a_stretch(what, share):
    rng = np.random.default_rng(2)
    for _ in range(300):
        n = int(rng.integers(1, 300))
        values = np.where(rng.random(n) < share, 1.0, 2.0)
        first = int(rng.integers(0, n))
        last = int(rng.integers(first - 1, n))
        part = values[first : last + 1]
        found = first + np.flatnonzero(part < 2.0 if what == BELOW else part >= 2.0)
        expected = (found[0], found[-1]) if len(found) else (last + 1, first - 1)

        behind = np.where(rng.random(SPARE) < 0.5, 1.0, np.nan)
        assert _search(what, np.append(values, behind), first, last, 2.0) == expected
