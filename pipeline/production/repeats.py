"""The same place on seam after seam: marks of a fixture or a roll, told from chance.

A space-time scan. Seams are put in order of welding into blocks; in each block and bin of position
stands how many seams have an indication there. Every rectangle (some successive blocks, one
to three neighbouring bins) is compared with what it would hold if each block's
indications lay evenly over the inspected length: a bad coil fills its blocks, yet not one bin of
them. The most unlikely rectangle of all is compared with the most unlikely of each
of many tables drawn evenly, so that its p-value knows how many places were looked at. Found
marks are taken out, and the rest is scanned again.

References
----------
Kulldorff, M. (1997). A spatial scan statistic. Communications in Statistics: Theory and
Methods 26, 1481-1496.
Zhang, Z., Assuncao, R. and Kulldorff, M. (2010). Spatial scan statistics adjusted for
multiple clusters. Journal of Probability and Statistics, 642379 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["MOST_BLOCKS", "Mark", "repeated_marks"]

MOST_BLOCKS = 40
"""Blocks of time at most: the scan looks at every run of them."""
_WIDEST_BINS = 3
_MOST_MARKS = 5


@dataclass(frozen=True)
class Mark:
    """A place where successive seams have more indications than chance gives.

    Parameters
    ----------
    first_block, last_block, first_bin, last_bin : int
        Inclusive.
    seams : int
        With an indication there.
    expected : float
        By chance.
    p : float
        Of the most unlikely rectangle anywhere, so many places are accounted for.
    """

    first_block: int
    last_block: int
    first_bin: int
    last_bin: int
    seams: int
    expected: float
    p: float


def repeated_marks(
    hits: NDArray[np.int64],
    share: NDArray[np.float64],
    rng: np.random.Generator,
    *,
    level: float = 0.05,
    worlds: int = 199,
) -> tuple[Mark, ...]:
    """Find marks, the least likely first.

    Parameters
    ----------
    hits : int array of shape (blocks, bins)
        Seams of the block with an indication in the bin; at most `MOST_BLOCKS` blocks.
    share : float array of shape (blocks, bins)
        Of the block's inspected length, the part in the bin; rows sum to one, or to zero without production.
    rng : numpy.random.Generator
    level : float
        Chance to report a mark where there is none.
    worlds : int
        Tables drawn for the comparison.
    """
    if hits.shape[0] > MOST_BLOCKS:
        raise ValueError(f"got {hits.shape[0]} blocks, expected at most {MOST_BLOCKS}")
    hits, share = hits.copy(), share.copy()
    found: list[Mark] = []
    while len(found) < _MOST_MARKS and hits.sum() > 1:
        score, place, seams, expected = _most_unlikely(hits, share)
        p = _chance(score, hits, share, rng, level=level, worlds=worlds)
        if p > level:
            break
        found.append(Mark(*place, seams=seams, expected=expected, p=p))
        _take_out(hits, share, place)
    return tuple(found)


def _chance(
    score: float,
    hits: NDArray[np.int64],
    share: NDArray[np.float64],
    rng: np.random.Generator,
    *,
    level: float,
    worlds: int,
) -> float:
    """P-value of the best score; once it cannot fall to `level` any more, one above it."""
    reached = 0
    for _ in range(worlds):
        reached += _most_unlikely(_even(hits, share, rng), share)[0] >= score
        if (1 + reached) / (1 + worlds) > level:
            break
    return (1 + reached) / (1 + worlds)


def _even(hits: NDArray[np.int64], share: NDArray[np.float64], rng: np.random.Generator) -> NDArray[np.int64]:
    drawn = np.zeros_like(hits)
    for block in np.flatnonzero(hits.sum(axis=1)):
        drawn[block] = rng.multinomial(int(hits[block].sum()), share[block] / share[block].sum())
    return drawn


def _take_out(hits: NDArray[np.int64], share: NDArray[np.float64], place: tuple[int, int, int, int]) -> None:
    blocks, bins = slice(place[0], place[1] + 1), slice(place[2], place[3] + 1)
    hits[blocks, bins] = 0
    share[blocks, bins] = 0.0
    total = share.sum(axis=1, keepdims=True)
    np.divide(share, total, out=share, where=total > 0)
    hits[total[:, 0] <= 0] = 0


def _most_unlikely(
    hits: NDArray[np.int64], share: NDArray[np.float64]
) -> tuple[float, tuple[int, int, int, int], int, float]:
    """Score, (first block, last block, first bin, last bin), seams and expectation of the best rectangle."""
    expected = hits.sum(axis=1, keepdims=True) * share
    total = float(hits.sum())
    best: tuple[float, tuple[int, int, int, int], int, float] = (-1.0, (0, 0, 0, 0), 0, 0.0)
    sums, means = _running(hits.astype(np.float64)), _running(expected)
    blocks, bins = hits.shape
    first, last = np.triu_indices(blocks)
    for width in range(1, min(_WIDEST_BINS, bins) + 1):
        inside = _rectangles(sums, first, last, width)
        chance = _rectangles(means, first, last, width)
        score = _score(inside, chance, total)
        run, column = np.unravel_index(int(np.argmax(score)), score.shape)
        if score[run, column] > best[0]:
            place = (int(first[run]), int(last[run]), int(column), int(column) + width - 1)
            best = (
                float(score[run, column]),
                place,
                round(float(inside[run, column])),
                float(chance[run, column]),
            )
    return best


def _running(table: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.pad(table, ((1, 0), (1, 0))).cumsum(axis=0).cumsum(axis=1)


def _rectangles(
    running: NDArray[np.float64], first: NDArray[np.int64], last: NDArray[np.int64], width: int
) -> NDArray[np.float64]:
    rows = running[last + 1] - running[first]
    return rows[:, width:] - rows[:, :-width]


def _score(inside: NDArray[np.float64], chance: NDArray[np.float64], total: float) -> NDArray[np.float64]:
    """Log likelihood ratio of a rectangle with more than its share; zero with less."""
    outside, rest = total - inside, np.maximum(total - chance, 1e-12)
    chance = np.maximum(chance, 1e-12)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(inside > 0, inside * np.log(inside / chance), 0.0)
        ratio += np.where(outside > 0, outside * np.log(np.maximum(outside, 1e-300) / rest), 0.0)
    return np.where(inside > chance, ratio, 0.0)
