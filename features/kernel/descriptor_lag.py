"""Best lag between the two channels of one indication: the maximum of all lag products.

The products of one sample of `specular` with all lags are added up at once, which keeps the
innermost loop long and free of offsets that change. No product at a lag is larger than the root
of the energies that still overlap there, and these shrink with the lag: once that bound is below the
best product, the lags beyond need not be computed.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from seamtell.features.kernel.compiling import compiled, reordering
from seamtell.features.kernel.descriptor_profile import greatest

__all__ = ["best_lag", "dot"]

Array = NDArray[np.float64]

_SLACK = 1e-9
_TIE = 1e-12


@reordering
def dot(a: Array, b: Array) -> float:
    """Sum of products."""
    total = 0.0
    for i in range(len(a)):
        total += a[i] * b[i]
    return total


@reordering
def _add_eight(products: Array, s: Array, c: Array, lags: int) -> None:
    """Add the products of eight samples with as many lags; `products` is read and written once."""
    s0, s1, s2, s3, s4, s5, s6, s7 = s[0], s[1], s[2], s[3], s[4], s[5], s[6], s[7]
    for i in range(lags):
        products[i] += (
            s0 * c[i]
            + s1 * c[i + 1]
            + s2 * c[i + 2]
            + s3 * c[i + 3]
            + s4 * c[i + 4]
            + s5 * c[i + 5]
            + s6 * c[i + 6]
            + s7 * c[i + 7]
        )


@reordering
def _add_one(products: Array, a: float, c: Array, lags: int) -> None:
    for i in range(lags):
        products[i] += a * c[i]


@compiled
def _lag_products(s: Array, padded: Array, reach: int, products: Array) -> None:
    """Products at the lags −reach … reach; sample x of the other channel is ``padded[len(s) + x]``."""
    lags = 2 * reach + 1
    for i in range(lags):
        products[i] = 0.0
    x, at = 0, len(s) - reach
    while x + 8 <= len(s):
        _add_eight(products, s[x:], padded[at + x :], lags)
        x += 8
    while x < len(s):
        _add_one(products, s[x], padded[at + x :], lags)
        x += 1


@compiled
def best_lag(s: Array, c: Array, scratch: Array) -> tuple[int, float]:
    """Smallest lag, without sign, at which the products are greatest, and that product.

    Parameters
    ----------
    s, c : arrays of shape (w,)
        Neither all zero.
    scratch : array of at least 5 w + 8
    """
    w = len(s)
    padded, products = scratch[: 3 * w + 4], scratch[3 * w + 4 : 5 * w + 8]
    padded[:w], padded[2 * w :] = 0.0, 0.0
    middle = padded[w:]
    for i in range(w):
        middle[i] = c[i]
    reach = min(w - 1, w // 2 + 1)
    while True:
        _lag_products(s, padded, reach, products)
        peak = greatest(products[: 2 * reach + 1])
        if reach == w - 1 or (peak > 0.0 and _bound(s, c, reach + 1) < peak * (1.0 - _SLACK)):
            break
        reach = w - 1
    least, enough = reach, peak - _TIE * abs(peak)
    for k in range(2 * reach + 1):
        if products[k] >= enough:
            least = min(least, abs(k - reach))
    return least, peak


@compiled
def _bound(s: Array, c: Array, lag: int) -> float:
    """No product at this lag or beyond, to either side, is larger."""
    w = len(s)
    behind = dot(s[: w - lag], s[: w - lag]) * dot(c[lag:], c[lag:])
    before = dot(s[lag:], s[lag:]) * dot(c[: w - lag], c[: w - lag])
    return np.sqrt(max(behind, before))
