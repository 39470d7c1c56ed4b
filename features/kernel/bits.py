"""Masks over the samples of a seam, 64 samples a word."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from seamtell.features.kernel.compiling import compiled
from seamtell.features.kernel.vectors import leading_zeros, trailing_zeros

__all__ = ["WORD", "mark", "mark_common", "next_clear", "next_set", "run_start", "unmark"]

WORD = 64

Words = NDArray[np.uint64]

_ONE, _ALL = np.uint64(1), np.uint64(2**64 - 1)


@compiled
def next_set(words: Words, first: int, last: int) -> int:
    """First sample from `first` to `last` that is marked; beyond `last` when none is."""
    if first > last:
        return last + 1
    at = first // WORD
    word = words[at] & (_ALL << np.uint64(first % WORD))
    while word == np.uint64(0):
        at += 1
        if at * WORD > last:
            return last + 1
        word = words[at]
    return at * WORD + trailing_zeros(word)


@compiled
def next_clear(words: Words, first: int, last: int) -> int:
    """First sample from `first` to `last` that is not marked; beyond `last` when all are."""
    at = first // WORD
    word = ~words[at] & (_ALL << np.uint64(first % WORD))
    while word == np.uint64(0):
        at += 1
        if at * WORD > last:
            return last + 1
        word = ~words[at]
    return min(at * WORD + trailing_zeros(word), last + 1)


@compiled
def run_start(words: Words, first: int, sample: int) -> int:
    """First sample of the marked run that a marked sample lies in, not before `first`."""
    at = sample // WORD
    word = ~words[at] & (_ALL >> np.uint64(WORD - 1 - sample % WORD))
    while word == np.uint64(0):
        if at * WORD <= first:
            return first
        at -= 1
        word = ~words[at]
    return max(at * WORD + WORD - leading_zeros(word), first)


@compiled
def _part(at: int, first: int, last: int) -> np.uint64:
    """Those bits of a word that lie from `first` to `last`."""
    bits = _ALL
    if at * WORD < first:
        bits &= _ALL << np.uint64(first - at * WORD)
    if at * WORD + WORD - 1 > last:
        bits &= _ALL >> np.uint64(at * WORD + WORD - 1 - last)
    return bits


@compiled
def mark(words: Words, first: int, last: int) -> None:
    """Mark every sample from `first` to `last`."""
    for at in range(first // WORD, last // WORD + 1):
        words[at] |= _part(at, first, last)


@compiled
def mark_common(words: Words, others: Words, first: int, last: int) -> np.uint64:
    """Mark what the other mask marks from `first` to `last`; zero when that is nothing."""
    found = np.uint64(0)
    for at in range(first // WORD, last // WORD + 1):
        common = others[at] & _part(at, first, last)
        words[at] |= common
        found |= common
    return found


@compiled
def unmark(words: Words, n: int) -> None:
    """Unmark all of the first n samples."""
    for at in range((n + WORD - 1) // WORD):
        words[at] = np.uint64(0)
