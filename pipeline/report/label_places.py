"""Places for labels that must not lie on one another."""

from __future__ import annotations

from collections.abc import Sequence

__all__ = ["spread_apart", "stacked_rows"]


def spread_apart(wanted: Sequence[float], gap: float, low: float, high: float) -> tuple[float, ...]:
    """Move labels on a margin as little as needed so that neighbours are `gap` apart.

    Parameters
    ----------
    wanted : sequence of float, n values
        Where each label would like to be.
    gap : float
        Least distance between two labels.
    low, high : float
        Ends of the margin; kept when the labels fit between them.

    Returns
    -------
    tuple of float, n values
        In the order of `wanted`.

    Examples
    --------
    >>> spread_apart([5.0, 5.5, 20.0], gap=2.0, low=0.0, high=30.0)
    (5.0, 7.0, 20.0)
    >>> spread_apart([29.0, 30.0], gap=4.0, low=0.0, high=30.0)
    (26.0, 30.0)
    """
    order = sorted(range(len(wanted)), key=lambda i: wanted[i])
    placed = [0.0] * len(wanted)
    floor = low
    for i in order:
        placed[i] = max(wanted[i], floor)
        floor = placed[i] + gap
    ceiling = high
    for i in reversed(order):
        placed[i] = min(placed[i], ceiling)
        ceiling = placed[i] - gap
    return tuple(placed)


def stacked_rows(starts: Sequence[float], widths: Sequence[float], rows: int) -> tuple[int, ...]:
    """Row of each label that starts at its mark and runs to the right.

    Placed from right to left, each above all labels that begin under it: so no label
    lies on another, and the leader line of one, which drops from its start, never
    crosses the text of another, while there are rows left.

    Parameters
    ----------
    starts, widths : sequence of float, n values
        In one unit; `starts` ascending.
    rows : int
        Rows to be had; where all are taken, the one with most room is used.

    Examples
    --------
    >>> stacked_rows([0.0, 1.0, 9.0], [4.0, 4.0, 4.0], rows=2)
    (1, 0, 0)
    >>> stacked_rows([0.0, 3.0, 6.0], [4.0, 4.0, 4.0], rows=3)
    (2, 1, 0)
    """
    taken_from = [float("inf")] * rows
    chosen = [0] * len(starts)
    for i in reversed(range(len(starts))):
        end = starts[i] + widths[i]
        under = [chosen[j] for j in range(i + 1, len(starts)) if starts[j] < end]
        row = max(under, default=-1) + 1
        chosen[i] = row if row < rows else max(range(rows), key=lambda r: taken_from[r])
        taken_from[chosen[i]] = starts[i]
    return tuple(chosen)
