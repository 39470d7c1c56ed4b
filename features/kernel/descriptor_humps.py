"""Humps of one channel in the window of one indication, and how far a sample stands out."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from seamtell.features.kernel.bits import WORD
from seamtell.features.kernel.compiling import compiled, inlined, larger, smaller
from seamtell.features.kernel.descriptor_masks import mask_of_tops
from seamtell.features.kernel.descriptor_sums import extremes
from seamtell.features.kernel.search import AT_LEAST, first_where, last_where
from seamtell.features.kernel.vectors import mask_above, trailing_zeros

__all__ = ["find_humps", "prominence"]

Array = NDArray[np.float64]

_ONE = np.uint64(1)


@compiled
def _saddle(e: Array, index: int, stop: int, way: int) -> tuple[float, float]:
    """Lowest value on the way from a sample to anything higher, or to `stop`, and lowest up to `stop`."""
    lowest, highest = extremes(e, min(index, stop), abs(stop - index) + 1)
    height = e[index]
    if highest <= height:
        return lowest, lowest
    saddle, i = height, index + way
    while e[i] <= height:
        saddle = smaller(saddle, e[i])
        i += way
    return saddle, lowest


@inlined
def prominence(e: Array, first: int, last: int, index: int) -> tuple[float, float]:
    """Height of a sample above the higher of the two lowest points on the way to anything higher.

    And the lowest value from `first` to `last`.
    """
    left, right = _saddle(e, index, first, -1), _saddle(e, index, last, 1)
    return e[index] - larger(left[0], right[0]), smaller(left[1], right[1])


@inlined
def find_humps(
    e: Array,
    window: tuple[int, int],
    extent: tuple[int, int],
    least: float,
    peak: int,
    rise: float,
    tops: Array,
) -> tuple[int, int, int]:
    """Number of humps, and the two highest (-1 where there is none).

    Parameters
    ----------
    e : float64 array
    window, extent : first and last sample
    least : float
        Of height and prominence.
    peak : int
        Highest sample.
    rise : float
        Its prominence.
    tops : array with room for half as many numbers as the window has samples
    """
    count = _outstanding(e, window, extent, least, peak, rise, tops)
    kept, one, two = 0, -1, -1
    # From the highest down, the first of equal ones; accepted humps gather at the front of `tops`.
    for k in range(count):
        best = k
        for j in range(k + 1, count):
            if e[int(tops[j])] > e[int(tops[best])] or (
                e[int(tops[j])] == e[int(tops[best])] and tops[j] < tops[best]
            ):
                best = j
        i = int(tops[best])
        tops[best] = tops[k]
        if _is_apart(e, i, least, tops, kept):
            tops[kept] = i
            kept += 1
            if kept == 1:
                one = i
            elif kept == 2:
                two = i
    return kept, one, two


@compiled
def _stands_out(e: Array, window: tuple[int, int], i: int, least: float) -> bool:
    """Whether the profile falls by `least` on either side of a sample before it rises above it."""
    above, level = np.nextafter(e[i], np.inf), e[i] - least
    before = last_where(AT_LEAST, e, window[0], i - 1, above)
    behind = first_where(AT_LEAST, e, i + 1, window[1], above)
    return _falls(e, before + 1, i, level) and _falls(e, i + 1, behind, level)


@compiled
def _is_apart(e: Array, i: int, least: float, humps: Array, kept: int) -> bool:
    """Whether the profile falls by `least` towards each hump so far."""
    for k in range(kept):
        other = int(humps[k])
        if not _falls(e, min(i, other), max(i, other), e[i] - least):
            return False
    return True


@compiled
def _falls(e: Array, begin: int, end: int, level: float) -> bool:
    """Whether a sample from `begin` to before `end` is at most at the level."""
    for at in range(begin, end, WORD):
        word = ~mask_above(e, at, level)
        if end - at < WORD:
            word &= (_ONE << np.uint64(end - at)) - _ONE
        if word != np.uint64(0):
            return True
    return False


@compiled
def _outstanding(
    e: Array,
    window: tuple[int, int],
    extent: tuple[int, int],
    least: float,
    peak: int,
    rise: float,
    tops: Array,
) -> int:
    """Local maxima of the window in the extent, of height and prominence enough; the middle of a flat top."""
    count, first, behind = 0, window[0], extent[1] + 1
    while behind < window[1] and e[behind] == e[behind - 1]:
        behind += 1
    behind = min(behind, window[1])
    for at in range(max(first + 1, extent[0]), behind, WORD):
        word = mask_of_tops(e, at, least)
        if behind - at < WORD:
            word &= (_ONE << np.uint64(behind - at)) - _ONE
        while word != np.uint64(0):
            end = at + trailing_zeros(word)
            word &= word - _ONE
            begin = end
            while begin > first and e[begin - 1] == e[begin]:
                begin -= 1
            middle = first + (begin - first + end - first) // 2
            if not (begin > first and e[begin - 1] < e[begin] and extent[0] <= middle <= extent[1]):
                continue
            if rise >= least if middle == peak else _stands_out(e, window, middle, least):
                tops[count] = middle
                count += 1
    return count
