"""Cylindrical waves seen from another centre on the seam.

References
----------
Graf's addition theorem: M. Abramowitz and I. Stegun, *Handbook of Mathematical
Functions*, 9.1.79; for outgoing waves about another centre,
H_n(kr) e^{i n theta} = sum_m H_{n-m}(kR) e^{i (n-m) Theta} J_m(kr') e^{i m theta'},
with R and Theta leading from the old centre to the new one, for r' < R.
"""

from __future__ import annotations

import numpy as np
from scipy.special import hankel1

from seamtell.data_synth.arrays import Complex, Integers

__all__ = ["outgoing_to_regular"]


def outgoing_to_regular(orders: Integers, k_per_mm: float, along_mm: float) -> Complex:
    """Regular orders about a centre `along_mm` farther along the seam, shape (m, n).

    Row m, column n: what the outgoing order n about the old centre is worth as the
    regular order m about the new one.

    Examples
    --------
    >>> bool(np.isclose(outgoing_to_regular(np.array([0]), 1.0, 3.0)[0, 0], hankel1(0, 3.0)))
    True
    """
    change = orders[None, :] - orders[:, None]
    turned = np.where((along_mm < 0) & (change % 2 == 1), -1.0, 1.0)
    return np.asarray(turned * hankel1(change, k_per_mm * abs(along_mm)))
