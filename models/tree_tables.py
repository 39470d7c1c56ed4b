"""Boosted trees as tables: every split of a tree is asked at once, and the pattern of answers finds the leaf.

LightGBM walks each tree from its root, row by row. Small trees are cheaper without walking:
all splits of a tree are compared for many rows side by side, each answer is one bit, and a table
with one entry for each pattern of bits holds the leaf. The scores are added in LightGBM's order, so
they are the same to the last bit; LightGBM is the specification.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from seamtell.features.aligned import aligned_empty
from seamtell.features.machine_code import kept

__all__ = ["MOST_LEAVES", "TreeTables"]

MOST_LEAVES = 6
"""Leaves of the largest tree that the tables hold: five splits, 32 patterns."""

_SPLITS = MOST_LEAVES - 1
_SIDE_BY_SIDE = 32
_PLAIN_SPLITS = {"0", "2"}
"""Values of ``decision_type``: a number against a threshold, with no value standing for a missing one."""
_ZERO = float(np.float32(1e-35))
"""LightGBM reads a value that is no farther from zero as zero (``kZeroThreshold`` in its ``meta.h``)."""


@dataclass(frozen=True, eq=False)
class TreeTables:
    """T trees for K classes; tree t adds to the score of class ``t % K``.

    Parameters
    ----------
    classes : int
        K.
    columns : int
        Descriptors that the trees were taught.
    features : int64 array of shape (T, 5)
        Column that each split asks.
    thresholds : float64 array of shape (T, 5)
        The answer is yes above it; infinite for a split that a smaller tree lacks.
    leaves : float64 array of shape (T, 32)
        Score by pattern of answers; split s is bit s.
    """

    classes: int
    columns: int
    features: NDArray[np.int64]
    thresholds: NDArray[np.float64]
    leaves: NDArray[np.float64]

    @classmethod
    def of_text(cls, text: str) -> TreeTables | None:
        """Read LightGBM's text; None for trees of another kind or size, which LightGBM itself has to ask."""
        head, *trees = text.partition("\nend of trees")[0].split("\nTree=")
        try:
            fields = _fields(head)
            classes, columns = int(fields["num_class"]), int(fields["max_feature_idx"]) + 1
            plain = fields["objective"] == f"multiclass num_class:{classes}" and "average_output" not in head
            whole = fields["num_tree_per_iteration"] == str(classes) and len(trees) % classes == 0
            if not (plain and whole and trees):
                return None
            return cls(classes, columns, *_tables([_fields(tree) for tree in trees], columns))
        except (ValueError, LookupError, OverflowError):
            return None

    def probabilities(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the probabilities of finite descriptors, shape (n, K).

        Raises
        ------
        ValueError
            Another number of descriptors than the trees were taught.
        """
        rows = np.ascontiguousarray(values, dtype=np.float64)
        if rows.ndim != 2 or rows.shape[1] != self.columns:
            raise ValueError(f"got descriptors of shape {rows.shape}, expected (n, {self.columns})")
        out = np.empty((len(rows), self.classes))
        block, scores = (
            aligned_empty((lanes, _SIDE_BY_SIDE), np.float64) for lanes in (self.columns, self.classes)
        )
        block[:] = 0.0
        pattern = aligned_empty(_SIDE_BY_SIDE, np.int64)
        _kernel()(rows, self.features, self.thresholds, self.leaves, block, pattern, scores, out)
        return out


def _fields(text: str) -> dict[str, str]:
    pairs = (line.split("=", 1) for line in text.splitlines() if "=" in line)
    return {key: value.strip() for key, value in pairs}


def _tables(
    trees: list[dict[str, str]], columns: int
) -> tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.float64]]:
    """Features, thresholds and leaves by pattern of all trees; `ValueError` for another kind of tree."""
    features, thresholds = np.zeros((len(trees), _SPLITS), np.int64), np.full((len(trees), _SPLITS), np.inf)
    # A split that a tree lacks leads to itself, so that no walk through it comes to an end.
    children = np.tile(np.arange(_SPLITS), (2, len(trees), 1))
    leaf_values = np.full((len(trees), MOST_LEAVES), np.nan)
    for t, fields in enumerate(trees):
        size = int(fields["num_leaves"])
        if not 1 <= size <= MOST_LEAVES or fields["num_cat"] != "0" or fields["is_linear"] != "0":
            raise ValueError("another kind of tree")
        leaf_values[t, :size] = _numbers(fields["leaf_value"], float, size)
        if size == 1:
            children[:, t, 0] = ~0
            continue
        if not set(fields["decision_type"].split()) <= _PLAIN_SPLITS:
            raise ValueError("another kind of split")
        features[t, : size - 1] = _numbers(fields["split_feature"], int, size - 1)
        thresholds[t, : size - 1] = _numbers(fields["threshold"], float, size - 1)
        for side, name in enumerate(("left_child", "right_child")):
            children[side, t, : size - 1] = _numbers(fields[name], int, size - 1)
    if features.min() < 0 or features.max() >= columns:
        raise ValueError("a split asks no column of the descriptors")
    return features, thresholds, _leaves_by_pattern(children, leaf_values)


def _numbers(text: str, kind: type[int] | type[float], expected: int) -> list[float]:
    numbers = [kind(one) for one in text.split()]
    if len(numbers) != expected:
        raise ValueError(f"got {len(numbers)} numbers, expected {expected}")
    return numbers


def _leaves_by_pattern(children: NDArray[np.int64], leaf_values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Walk every pattern through every tree, split by split from the root; a child below zero is a leaf.

    Parameters
    ----------
    children : int64 array of shape (2, T, 5)
        Next split of each answer, or ``~leaf``.
    leaf_values : float64 array of shape (T, 6)
        NaN where a tree has no leaf.

    Returns
    -------
    float64 array of shape (T, 32)
    """
    trees, patterns = np.arange(len(leaf_values))[:, None], np.arange(2**_SPLITS)
    at = np.zeros((len(leaf_values), len(patterns)), np.int64)
    for _ in range(_SPLITS):
        split = np.maximum(at, 0)
        at = np.where(at < 0, at, children[patterns >> split & 1, trees, split])
    if at.max() >= 0:
        raise ValueError("the splits are no tree")
    by_pattern = leaf_values[trees, ~at]
    if np.isnan(by_pattern).any():
        raise ValueError("a leaf is missing")
    return by_pattern


@cache
def _kernel() -> Any:
    table = "Array(float64, 2, 'C', readonly=True)"
    return kept(
        _score,
        f"void({table}, Array(int64, 2, 'C', readonly=True), {table}, {table}, "
        "float64[:, ::1], int64[::1], float64[:, ::1], float64[:, ::1])",
    )


def _score(  # type: ignore[no-untyped-def]  # compiled by numba
    values, features, thresholds, leaves, block, pattern, scores, out
):
    """Fill `out` with probabilities: the scores through a softmax, as LightGBM does it."""
    n, columns = values.shape
    classes = out.shape[1]
    width = len(pattern)
    for first in range(0, n, width):
        rows = min(width, n - first)
        for j in range(rows):
            row = values[first + j]
            for f in range(columns):
                block[f, j] = row[f] if abs(row[f]) > _ZERO else 0.0
        scores[:] = 0.0
        for t in range(len(features)):
            f, limit = features[t], thresholds[t]
            x0, x1, x2, x3, x4 = block[f[0]], block[f[1]], block[f[2]], block[f[3]], block[f[4]]
            t0, t1, t2, t3, t4 = limit[0], limit[1], limit[2], limit[3], limit[4]
            for j in range(width):
                pattern[j] = (
                    (1 if x0[j] > t0 else 0)
                    | (2 if x1[j] > t1 else 0)
                    | (4 if x2[j] > t2 else 0)
                    | (8 if x3[j] > t3 else 0)
                    | (16 if x4[j] > t4 else 0)
                )
            own, leaf = scores[t % classes], leaves[t]
            for j in range(width):
                own[j] += leaf[pattern[j]]
        for j in range(rows):
            top = scores[0, j]
            for k in range(1, classes):
                top = max(top, scores[k, j])
            total = 0.0
            for k in range(classes):
                out[first + j, k] = math.exp(scores[k, j] - top)
                total += out[first + j, k]
            for k in range(classes):
                out[first + j, k] /= total
