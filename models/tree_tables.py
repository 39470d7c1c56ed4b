"""Boosted trees as tables: every split of a tree is asked at once, and the pattern of answers finds the leaf.

LightGBM walks each tree from its root, row by row. Small trees are cheaper without walking:
all splits of a tree are compared for many rows side by side, each answer is one bit, and a table
with one entry for each pattern of bits holds the leaf. The scores are added in LightGBM's order, so
they are the same to the last bit; LightGBM is the specification.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

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
            tables = [_tree(tree, columns) for tree in trees]
        except (ValueError, LookupError):
            return None
        features, thresholds, leaves = (np.stack(part) for part in zip(*tables, strict=True))
        return cls(classes, columns, features, thresholds, leaves)

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
        _kernel()(rows, self.features, self.thresholds, self.leaves, out, _SIDE_BY_SIDE)
        return out


def _fields(text: str) -> dict[str, str]:
    pairs = (line.split("=", 1) for line in text.splitlines() if "=" in line)
    return {key: value.strip() for key, value in pairs}


def _tree(text: str, columns: int) -> tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.float64]]:
    fields = _fields(text)
    size = int(fields["num_leaves"])
    if size > MOST_LEAVES or fields["num_cat"] != "0" or fields["is_linear"] != "0":
        raise ValueError("another kind of tree")
    features, thresholds = np.zeros(_SPLITS, dtype=np.int64), np.full(_SPLITS, np.inf)
    leaf_values = [float(x) for x in fields["leaf_value"].split()]
    if len(leaf_values) != size:
        raise ValueError("another number of leaves")
    if size == 1:
        return features, thresholds, np.full(2**_SPLITS, leaf_values[0])
    asked = [int(x) for x in fields["split_feature"].split()]
    plain = set(fields["decision_type"].split()) <= _PLAIN_SPLITS
    if not plain or not all(0 <= column < columns for column in asked):
        raise ValueError("another kind of split")
    features[: size - 1] = asked
    thresholds[: size - 1] = [float(x) for x in fields["threshold"].split()]
    children = [[int(x) for x in fields[f"{side}_child"].split()] for side in ("left", "right")]
    return features, thresholds, np.array(_leaf_by_pattern(children, leaf_values))


def _leaf_by_pattern(children: list[list[int]], leaf_values: list[float]) -> list[float]:
    """Walk every pattern from the root at once; a child below zero is a leaf."""
    by_pattern = [math.nan] * 2**_SPLITS
    ahead: list[tuple[int, Sequence[int]]] = [(0, range(2**_SPLITS))]
    for _ in range(2 * len(leaf_values) - 1):  # one step for each split and each leaf
        node, patterns = ahead.pop()
        if node < 0:
            for pattern in patterns:
                by_pattern[pattern] = leaf_values[~node]
            continue
        for answer, own in enumerate(children):
            ahead.append((own[node], [pattern for pattern in patterns if pattern >> node & 1 == answer]))
    if ahead or any(math.isnan(value) for value in by_pattern):
        raise ValueError("the splits are no tree")
    return by_pattern


@cache
def _kernel() -> Any:
    table = "Array(float64, 2, 'C', readonly=True)"
    return kept(
        _score,
        f"void({table}, Array(int64, 2, 'C', readonly=True), {table}, {table}, float64[:, ::1], int64)",
    )


def _score(values, features, thresholds, leaves, out, width):  # type: ignore[no-untyped-def]  # compiled by numba
    """Fill `out` with probabilities: the scores through a softmax, as LightGBM does it."""
    n, columns = values.shape
    classes = out.shape[1]
    block = np.zeros((columns, width))
    pattern = np.zeros(width, np.int64)
    scores = np.zeros((classes, width))
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
