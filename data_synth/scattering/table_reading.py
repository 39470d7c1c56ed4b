"""Reading an evenly spaced complex table at many places, quickly.

A scan reads a beam at every distance from a point of a flaw to a position of the head.
On two even grids these distances are few; the table is then read once along its length
and dealt out, instead of being interpolated for each pair.
"""

from __future__ import annotations

import numpy as np
from numpy.lib.stride_tricks import as_strided

from seamtell.data_synth.arrays import Complex, Floats

__all__ = ["read_table"]

_SAME = 1e-7


def read_table(
    table: Complex, start_mm: float, spacing_mm: float, wavenumber_per_mm: float, at_mm: Floats
) -> Complex:
    """Interpolate straight, turn by exp(i wavenumber at), and give zero outside.

    Parameters
    ----------
    table : complex array of shape (m,)
        Values at ``start_mm + spacing_mm * i``.
    at_mm : float array of any shape

    Examples
    --------
    >>> read_table(np.array([0.0, 2.0 + 0j]), 10.0, 1.0, 0.0, np.array([10.5, 99.0]))
    array([1.+0.j, 0.+0.j])
    """
    steps = _even_steps(at_mm, spacing_mm)
    if steps is None:
        value = _interpolated(table, (at_mm - start_mm) / spacing_mm)
        return value * np.exp(1j * wavenumber_per_mm * at_mm) if wavenumber_per_mm else value
    down, right = steps
    rows, columns = at_mm.shape
    # The least distance of all pairs, and how many table steps lie up to the greatest.
    least = min(0, down * (rows - 1)) + min(0, right * (columns - 1))
    n = abs(down) * (rows - 1) + abs(right) * (columns - 1) + 1
    along = at_mm[0, 0] + spacing_mm * (least + np.arange(n))
    values = read_table(table, start_mm, spacing_mm, wavenumber_per_mm, along)
    step = values.strides[0]
    return as_strided(values[-least:], at_mm.shape, (down * step, right * step), writeable=False)


def _interpolated(table: Complex, place: Floats) -> Complex:
    inside = (place >= 0) & (place < len(table) - 1)
    index = np.where(inside, place, 0).astype(np.intp)
    share = place - index
    lower = table[index]
    return np.where(inside, lower + (table[index + 1] - lower) * share, 0)


def _even_steps(at_mm: Floats, spacing_mm: float) -> tuple[int, int] | None:
    """Steps down and right, in table spacings, of an array made from two even grids."""
    if at_mm.ndim != 2 or min(at_mm.shape) < 2:
        return None
    down = round(float(at_mm[1, 0] - at_mm[0, 0]) / spacing_mm)
    right = round(float(at_mm[0, 1] - at_mm[0, 0]) / spacing_mm)
    if abs(down) * at_mm.shape[0] + abs(right) * at_mm.shape[1] > at_mm.size:
        return None  # fewer pairs than distances between them
    rows, columns = (spacing_mm * np.arange(n) for n in at_mm.shape)
    even = at_mm[0, 0] + down * rows[:, None] + right * columns[None, :]
    return (down, right) if np.abs(even - at_mm).max() < _SAME else None
