"""Best lag between the two channels of one indication: the maximum of all lag products.

The product at a lag is p(L) = Σ s(x) c(x + L), and its second difference over L is no larger than
B = ‖Δs‖ ‖Δc‖, both padded by zeros. So from the products at every eighth lag follows how high the
others between two of them can be at most: what lies above the line through both is at most
k (8 − k) B / 2. Smoothed channels bend little, and most lags need not be computed.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from seamtell.features.kernel.bits import WORD
from seamtell.features.kernel.compiling import compiled, inlined, larger
from seamtell.features.kernel.descriptor_masks import mask_below
from seamtell.features.kernel.descriptor_products import copy_eights, distant_products, near_products
from seamtell.features.kernel.lanes import EIGHT
from seamtell.features.kernel.vectors import leading_zeros, trailing_zeros

__all__ = ["PAD", "best_lag", "pad"]

Array = NDArray[np.float64]

PAD = EIGHT * EIGHT
"""Zeros on either side of a padded window."""
_SLACK = 1e-9
_TIE = 1e-12
_EIGHT_BITS = np.uint64(2**EIGHT - 1)


@inlined
def pad(e: Array, first: int, w: int, out: Array) -> None:
    """Write w samples from `first` on with `PAD` zeros before and at least as many behind."""
    copy_eights(e, first, w, out, PAD)
    behind = out[PAD + w :]
    for i in range(PAD):
        out[i] = 0.0
        behind[i] = 0.0


@compiled
def best_lag(s: Array, c: Array, w: int, norm: float, bend: float, scratch: Array) -> tuple[int, float]:
    """Smallest lag, without sign, at which the products are greatest, and that product.

    Parameters
    ----------
    s, c : arrays from `pad`
    w : int
        Samples of the window.
    norm, bend : float
        Products of the norms of s and c, and of the norms of their differences, both above zero.
    scratch : array of at least 3 w + 128
    """
    reach = (w + EIGHT - 1) // EIGHT
    coarse, tops = scratch[: 2 * reach + EIGHT], scratch[2 * reach + EIGHT : 4 * reach + EIGHT]
    products = scratch[4 * reach + EIGHT :]
    peak, slack = 0.0, _SLACK * norm
    for k in range(0, 2 * reach + 1, EIGHT):
        peak = larger(_distant_lags(s, c, w, EIGHT * (k - reach), coarse, k), peak)
    if peak <= 0.0:
        peak = -np.inf  # the zero may be that of a lag beyond the window
    _highest_between(coarse, coarse[1:], 2 * reach, bend, tops)
    for k in range(2 * reach):
        if tops[k] >= peak - slack:
            tops[k] = _near_lags(s, c, w, EIGHT * (k - reach), products, EIGHT * k)
            peak = larger(tops[k], peak)
    least, enough = w, peak - _TIE * abs(peak)
    for k in range(2 * reach):
        if tops[k] >= enough:
            least = min(least, _nearest(products, EIGHT * k, enough, EIGHT * (k - reach)))
    return least, peak


@compiled
def _highest_between(begins: Array, ends: Array, n: int, bend: float, tops: Array) -> None:
    """Bounds on n rows of eight values from begin to end whose second difference is not below −`bend`."""
    rise, straight = EIGHT * bend, EIGHT * EIGHT / 2.0 * bend
    per_square = 1.0 / (4.0 * straight)
    for k in range(n):
        middle, step = (begins[k] + ends[k]) / 2.0, abs(ends[k] - begins[k])
        arch = middle + rise + step * step * per_square
        tops[k] = arch if step < straight else middle + step / 2.0


@compiled
def _distant_lags(s: Array, c: Array, w: int, lag: int, out: Array, offset: int) -> float:
    """Write the products at eight multiples of eight, zero beyond the window, and return the greatest."""
    begin, end = max(0, -lag - EIGHT * (EIGHT - 1)), min(w, w - lag)
    return distant_products(s, PAD + begin, c, PAD + begin + lag, end - begin, out, offset)


@compiled
def _near_lags(s: Array, c: Array, w: int, lag: int, out: Array, offset: int) -> float:
    """Write the products at eight lags from one on, −∞ beyond the window, and return the greatest."""
    begin, end = max(0, -lag - EIGHT), min(w, w - lag)
    first, last = 1 - w - lag, w - lag
    return near_products(s, PAD + begin, c, PAD + begin + lag, end - begin, first, last, out, offset)


@compiled
def _nearest(products: Array, offset: int, enough: float, lag: int) -> int:
    """Smallest lag, without sign, of those from one multiple of eight on whose products are high enough."""
    word = ~mask_below(products, offset, enough) & _EIGHT_BITS
    if lag >= 0:
        return lag + trailing_zeros(word)
    return leading_zeros(word) - (WORD - 1) - lag
