"""Segments of one channel; ``features.segments`` is the specification and says why.

Excursions are kept in % FSH and divided by the noise only where the quotient decides, so that
every comparison has the operands that it has there. Few samples stand out at all: masks of 64
samples a word tell which.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from seamtell.features.kernel.bits import WORD, mark, mark_common, next_clear, next_set, run_start, unmark
from seamtell.features.kernel.compiling import compiled, larger
from seamtell.features.kernel.search import AT_LEAST, first_where
from seamtell.features.kernel.segment_vectors import larger_of_two, mask_tails
from seamtell.features.kernel.vectors import mask_above, trailing_zeros
from seamtell.features.segments import BRIDGE_BEAMS, NARROWEST_BEAMS, TAIL_SHARE

__all__ = ["find_segments", "first_highest", "largest_within", "mark_samples"]

Array = NDArray[np.float64]
Samples = NDArray[np.float32]
Indices = NDArray[np.int64]
Words = NDArray[np.uint64]


@compiled
def largest_within(quotient: float, sigma: float) -> float:
    """Largest excursion that, divided by sigma, does not exceed the quotient."""
    threshold = quotient * sigma
    while threshold / sigma > quotient:
        threshold = np.nextafter(threshold, -np.inf)
    while np.nextafter(threshold, np.inf) / sigma <= quotient:
        threshold = np.nextafter(threshold, np.inf)
    return threshold


@compiled
def largest_float32(limit: float) -> np.float32:
    """Largest float32 that is at most the limit: the same samples are above either."""
    rounded = np.float32(limit)
    return rounded if np.float64(rounded) <= limit else np.nextafter(rounded, np.float32(-np.inf))


@compiled
def mark_samples(
    excursion: Array,
    raw: Samples,
    n: int,
    leave: float,
    enter: float,
    limit: float,
    standing: Words,
    rising: Words,
    over: Words,
) -> None:
    """Which samples stand out by more than the lower and both thresholds, and which are above the limit.

    Reads up to 63 samples further.
    """
    narrow = largest_float32(limit)
    words = (n + WORD - 1) // WORD
    for at in range(words):
        standing[at] = mask_above(excursion, at * WORD, leave)
        rising[at] = mask_above(excursion, at * WORD, enter) & standing[at]
        over[at] = mask_above(raw, at * WORD, narrow)
    if n % WORD != 0:
        inside = (np.uint64(1) << np.uint64(n % WORD)) - np.uint64(1)
        standing[words - 1] &= inside
        rising[words - 1] &= inside
        over[words - 1] &= inside


@compiled
def _highest(values: Array, n: int) -> float:
    highest = -np.inf
    for i in range(n):
        highest = larger(highest, values[i])
    return highest


@compiled
def find_segments(
    excursion: Array,
    n: int,
    sigma: float,
    enter_sigma: float,
    beam_samples: float,
    judged_first: int,
    judged_last: int,
    inside: bool,
    standing: Words,
    rising: Words,
    over: Words,
    kept: Words,
    rest: Words,
    near: Array,
    firsts: Indices,
    lasts: Indices,
) -> int:
    """Segments of one channel in order of position; their number is returned.

    Parameters
    ----------
    excursion : float64 array of shape (>= n,)
        Over the baseline, % FSH.
    n : int
    sigma : float
        Noise, % FSH.
    enter_sigma, beam_samples : float
    judged_first, judged_last : int
        Samples outside the dead zones; the last before the first when there are none.
    inside : bool
        Look among the judged samples, or among all others.
    standing, rising, over : uint64 arrays
        From `mark_samples`.
    kept, rest, near
        Scratch of shape (>= n / 64,), the same, and (3, >= 3 * n).
    firsts, lasts : int64 arrays
        Written.
    """
    unmark(kept, n)
    found = False
    for zone in range(1 if inside else 2):
        first, last = _zone(zone, inside, judged_first, judged_last, n)
        if first > last:
            continue
        if mark_common(kept, over, first, last) != np.uint64(0):
            found = True
        i = next_set(rising, first, last)
        while i <= last:
            start, end = run_start(standing, first, i), next_clear(standing, i, last) - 1
            if _keep_run(
                excursion, rising, start, end, first, last, n, sigma, beam_samples, kept, rest, near
            ):
                found = True
            i = next_set(rising, end + 1, last)
    if not found:
        return 0
    m = _bridged_runs(kept, n, BRIDGE_BEAMS * beam_samples, firsts, lasts)
    count = 0
    for k in range(m):
        first, last = firsts[k], lasts[k]
        if next_set(over, first, last) <= last or _rises(
            excursion, first, last, sigma, enter_sigma, judged_first, judged_last, inside, n
        ):
            firsts[count], lasts[count] = first, last
            count += 1
    return count


@compiled
def _zone(zone: int, inside: bool, judged_first: int, judged_last: int, n: int) -> tuple[int, int]:
    """First and last sample of the stretches to look at."""
    if inside:
        return judged_first, judged_last
    if judged_last < judged_first:
        return (0, n - 1) if zone == 0 else (0, -1)
    return (0, judged_first - 1) if zone == 0 else (judged_last + 1, n - 1)


@compiled
def _keep_run(
    excursion: Array,
    rising: Words,
    first: int,
    last: int,
    zone_first: int,
    zone_last: int,
    n: int,
    sigma: float,
    beam_samples: float,
    kept: Words,
    rest: Words,
    near: Array,
) -> bool:
    """Mark those parts of a run above the lower threshold that are no tails, wide enough and high enough."""
    if not _may_be_kept(rising, first, last, zone_first, zone_last, beam_samples):
        return False
    reach = int(min(max(1.0, np.rint(beam_samples)), float(n)))
    low, high = max(0, first - reach), min(n - 1, last + reach)
    top = TAIL_SHARE * (_highest(excursion[low:], high - low + 1) / sigma)
    tails = _lowest(excursion[first:], last - first + 1) / sigma < top
    if not tails:
        mark(kept, first, last)
        return True
    highest_near = near[2]
    _window_maxima(excursion, first, last, reach, n, near, highest_near)
    length = last - first + 1
    _mark_all_but_tails(excursion, first, length, sigma, highest_near, rest)
    found, i = False, next_set(rest, 0, length - 1)
    while i < length:
        end = next_clear(rest, i, length - 1) - 1
        if _may_be_kept(rising, first + i, first + end, zone_first, zone_last, beam_samples):
            found = True
            mark(kept, first + i, first + end)
        i = next_set(rest, end + 1, length - 1)
    return found


@compiled
def _mark_all_but_tails(
    excursion: Array, first: int, length: int, sigma: float, highest_near: Array, rest: Words
) -> None:
    """Mark the samples of a run, counted from its first, that are not below the share of what is near them.

    Compares quotients by sigma, but divides only where rounding could decide.
    """
    for at in range(0, length, WORD):
        tails, unsure = mask_tails(excursion, first + at, highest_near, at, TAIL_SHARE)
        rest[at // WORD] = ~tails
        i = trailing_zeros(unsure)
        while i < min(WORD, length - at):
            quotient, highest = excursion[first + at + i] / sigma, highest_near[at + i] / sigma
            bit = np.uint64(1) << np.uint64(i)
            if quotient < TAIL_SHARE * highest:
                rest[at // WORD] &= ~bit
            else:
                rest[at // WORD] |= bit
            unsure &= unsure - np.uint64(1)
            i = trailing_zeros(unsure)


@compiled
def _may_be_kept(
    rising: Words, first: int, last: int, zone_first: int, zone_last: int, beam_samples: float
) -> bool:
    """Whether a run is wide enough, or cut short by the end of its zone, and high enough."""
    wide = last - first + 1 >= NARROWEST_BEAMS * beam_samples or first == zone_first or last == zone_last
    return wide and next_set(rising, first, last) <= last


@compiled
def _lowest(values: Array, n: int) -> float:
    lowest = np.inf
    for i in range(n):
        lowest = -larger(-lowest, -values[i])
    return lowest


@compiled
def _window_maxima(
    excursion: Array, first: int, last: int, reach: int, n: int, near: Array, out: Array
) -> None:
    """Largest excursion within `reach` of every sample from first to last.

    Largest of 1, 2, 4, … neighbours are made of each other, so that all samples go side by side.
    """
    width = 2 * reach + 1
    length = last - first + width
    now, then = near[0], near[1]
    begin, end = max(0, reach - first), min(length, n - first + reach)
    for i in range(begin):
        now[i] = -np.inf
    for i in range(end, length):
        now[i] = -np.inf
    _copy(excursion[first - reach + begin :], end - begin, now[begin:])
    covered = 1
    while 2 * covered <= width:
        length -= covered
        larger_of_two(now, covered, length, then)
        now, then = then, now
        covered *= 2
    larger_of_two(now, width - covered, last - first + 1, out)


@compiled
def _copy(values: Array, n: int, out: Array) -> None:
    for i in range(n):
        out[i] = values[i]


@compiled
def _bridged_runs(kept: Words, n: int, longest_gap: float, firsts: Indices, lasts: Indices) -> int:
    """First and last sample of every run of the mask, runs joined whose gap is short."""
    m = 0
    i = next_set(kept, 0, n - 1)
    while i < n:
        end = next_clear(kept, i, n - 1) - 1
        if m > 0 and i - lasts[m - 1] - 1 <= longest_gap:
            lasts[m - 1] = end
        else:
            firsts[m], lasts[m] = i, end
            m += 1
        i = next_set(kept, end + 1, n - 1)
    return m


@compiled
def first_highest(excursion: Array, first: int, last: int, sigma: float) -> int:
    """First sample whose quotient is the largest; several excursions may have one quotient."""
    top = _highest(excursion[first:], last - first + 1)
    close = top - 1e-15 * np.abs(top)
    i = first_where(AT_LEAST, excursion, first, last, close)
    while excursion[i] != top and excursion[i] / sigma != top / sigma:
        i = first_where(AT_LEAST, excursion, i + 1, last, close)
    return i


@compiled
def _rises(
    excursion: Array,
    first: int,
    last: int,
    sigma: float,
    enter_sigma: float,
    judged_first: int,
    judged_last: int,
    inside: bool,
    n: int,
) -> bool:
    """Whether the way from the segment's peak to anything higher falls by more than `enter_sigma`.

    On either side it is enough to go until it has fallen so far, or to something higher. The
    judged stretch, or what is not judged, counts as infinitely deep. Quotients are divided out only
    where rounding could decide.
    """
    peak = _seen_peak(excursion, first, last, sigma, judged_first, judged_last, inside)
    top = excursion[peak]
    height, deep, unsure = top / sigma, top - enter_sigma * sigma, 1e-13 * (np.abs(top) + enter_sigma * sigma)
    for step in (-1, 1):
        i = peak + step
        while 0 <= i < n and (judged_first <= i <= judged_last) == inside:
            value = excursion[i]
            if value > top - unsure and value / sigma > height:
                return False
            if value < deep + unsure and (value < deep - unsure or height - value / sigma > enter_sigma):
                break
            i += step
    return True


@compiled
def _seen_peak(
    excursion: Array,
    first: int,
    last: int,
    sigma: float,
    judged_first: int,
    judged_last: int,
    inside: bool,
) -> int:
    """Peak of a segment; one that bridges the judged stretch between two dead zones has two parts."""
    if inside or last < judged_first or first > judged_last:
        return first_highest(excursion, first, last, sigma)
    left = first_highest(excursion, first, judged_first - 1, sigma)
    right = first_highest(excursion, judged_last + 1, last, sigma)
    return right if excursion[right] / sigma > excursion[left] / sigma else left
