import numpy as np
import pytest
from numba import njit

from seamtell.features.kernel.descriptor_lag import PAD, best_lag, pad
from seamtell.features.kernel.descriptor_products import energies
from seamtell.features.machine_code import OPTIONS

SPARE = 64


@njit(**OPTIONS)
def _best(s, c, w, scratch):
    room = w + 2 * PAD
    padded, other, rest = scratch[:room], scratch[room : 2 * room], scratch[2 * room :]
    pad(s, 0, w, padded)
    pad(c, 0, w, other)
    ss, cc, _, _, s_steps, c_steps = energies(padded, other, PAD - 1, w + 1, 0.0)
    return best_lag(padded, other, w, np.sqrt(ss * cc), np.sqrt(s_steps * c_steps), rest)


def best(s, c):
    """Lag and product by the kernel; nothing behind the window may count."""
    w = len(s)
    behind = np.full(SPARE, np.nan)
    return _best(np.append(s, behind), np.append(c, behind), w, np.full(8 * w + 6 * SPARE, np.nan))


def brute(s, c):
    """All products one by one, and the tie rule of the specification."""
    products = np.correlate(c, s, mode="full")
    ties = np.flatnonzero(products >= products.max() - 1e-12 * abs(products.max()))
    return np.abs(ties - (len(s) - 1)).min(), products.max()


def noise(rng, w):
    return rng.normal(size=w), rng.normal(size=w)


def shifted_humps(rng, w):
    x = np.arange(w)
    at, by, wide = rng.uniform(0, w), rng.uniform(-w / 2, w / 2), rng.uniform(1, w / 4 + 1)
    return np.exp(-0.5 * ((x - at) / wide) ** 2), np.exp(-0.5 * ((x - at - by) / wide) ** 2)


def two_ends(rng, w):
    x = np.arange(w)
    s = 1.0 * (np.abs(x - w / 2) < w / 4)
    c = np.exp(-0.5 * ((x - w / 4) / 3) ** 2) + rng.uniform(0.3, 1.0) * np.exp(
        -0.5 * ((x - 3 * w / 4) / 3) ** 2
    )
    return s, c


def tied(rng, w):
    return 1.0 * (rng.random(w) < 0.3) + (np.arange(w) == w // 2), 1.0 * (rng.random(w) < 0.3) + (
        np.arange(w) == 0
    )


def never_rising_together(rng, w):
    return rng.uniform(1, 2, w), -rng.uniform(1, 2, w)


@pytest.mark.parametrize("kind", [noise, shifted_humps, two_ends, tied, never_rising_together])
def test_best_lag_is_that_of_all_products(kind):
    rng = np.random.default_rng(5)
    for w in [*range(1, 40), *range(40, 400, 7)]:
        s, c = kind(rng, w)
        lag, product = best(s, c)
        expected_lag, expected = brute(s, c)
        assert lag == expected_lag, (w, lag, expected_lag)
        assert product == pytest.approx(expected, rel=1e-10)
