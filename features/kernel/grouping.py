"""Segments of all channels of a seam joined to indications; ``features.indications`` is the specification.

Segments are kept channel by channel, in order of position on each. So what overlaps one of
them, or lies nearest to it, is found by bisection.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from seamtell.features.kernel.compiling import compiled

__all__ = ["join_segments"]

Indices = NDArray[np.int64]


@compiled
def join_segments(
    firsts: Indices,
    lasts: Indices,
    offsets: Indices,
    channels: int,
    beam_samples: float,
    group: Indices,
    group_first: Indices,
    group_last: Indices,
    order: Indices,
) -> int:
    """Group the segments; the number of groups is returned.

    Parameters
    ----------
    firsts, lasts : int64 arrays of shape (m,)
        Segments of channel c are ``offsets[c] : offsets[c + 1]``.
    offsets : int64 array of shape (channels + 1,)
    channels : int
    beam_samples : float
    group : int64 array of shape (m,)
        Written: number of the group of each segment, by position.
    group_first, group_last : int64 arrays of shape (m,)
        Written: extent of each group.
    order : int64 array of shape (m,)
        Scratch.
    """
    m = offsets[channels]
    for i in range(m):
        group[i] = i
    if channels > 1:
        for channel in range(channels):
            for i in range(offsets[channel], offsets[channel + 1]):
                _join_partners(i, channel, firsts, lasts, offsets, channels, beam_samples, group)
    return _number(firsts, lasts, m, group, group_first, group_last, order)


@compiled
def _join_partners(
    i: int,
    channel: int,
    firsts: Indices,
    lasts: Indices,
    offsets: Indices,
    channels: int,
    beam_samples: float,
    group: Indices,
) -> None:
    """Join segment i with those of other channels that overlap it, or the nearest within a beam width."""
    nearest, smallest, overlaps = -1, np.int64(2**62), False
    for other in range(channels):
        if other == channel:
            continue
        begin, end = offsets[other], offsets[other + 1]
        j = _first_ending_from(lasts, begin, end, firsts[i])
        if j > begin and firsts[i] - lasts[j - 1] - 1 < smallest:
            nearest, smallest = j - 1, firsts[i] - lasts[j - 1] - 1
        while j < end and firsts[j] <= lasts[i]:
            overlaps = True
            _unite(group, i, j)
            j += 1
        if j < end and firsts[j] - lasts[i] - 1 < smallest:
            nearest, smallest = j, firsts[j] - lasts[i] - 1
    if not overlaps and nearest >= 0 and smallest <= beam_samples:
        _unite(group, i, nearest)


@compiled
def _first_ending_from(lasts: Indices, begin: int, end: int, sample: int) -> int:
    """First of the segments that ends at or after the sample."""
    while begin < end:
        middle = (begin + end) // 2
        if lasts[middle] < sample:
            begin = middle + 1
        else:
            end = middle
    return begin


@compiled
def _root(group: Indices, i: int) -> int:
    while group[i] != i:
        group[i] = group[group[i]]
        i = group[i]
    return i


@compiled
def _unite(group: Indices, i: int, j: int) -> None:
    a, b = _root(group, i), _root(group, j)
    group[max(a, b)] = min(a, b)


@compiled
def _number(
    firsts: Indices,
    lasts: Indices,
    m: int,
    group: Indices,
    group_first: Indices,
    group_last: Indices,
    order: Indices,
) -> int:
    """Number the groups by position; no two begin at one sample, because such segments overlap."""
    count = 0
    for i in range(m):  # the root of a group is its first segment
        root = _root(group, i)
        if root == i:
            order[count] = i
            count += 1
            group_first[i] = firsts[i]
        group_first[root] = min(group_first[root], firsts[i])
    _sort_by(order, count, group_first)
    for k in range(count):
        group_last[order[k]] = k
    for i in range(m):
        root = _root(group, i)
        group[i] = root
    for i in range(m - 1, -1, -1):  # roots come before what belongs to them
        group[i] = group_last[group[i]]
    for k in range(count):
        group_first[k], group_last[k] = np.int64(2**62), -1
    for i in range(m):
        k = group[i]
        group_first[k] = min(group_first[k], firsts[i])
        group_last[k] = max(group_last[k], lasts[i])
    return count


@compiled
def _sort_by(order: Indices, count: int, key: Indices) -> None:
    """Shell sort (D. L. Shell 1959): few groups are usual, and many still take no memory."""
    gap = 1
    while 3 * gap + 1 < count:
        gap = 3 * gap + 1
    while gap > 0:
        for k in range(gap, count):
            one, j = order[k], k
            while j >= gap and key[order[j - gap]] > key[one]:
                order[j] = order[j - gap]
                j -= gap
            order[j] = one
        gap //= 3
