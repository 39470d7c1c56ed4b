"""Pairs of classes that physics makes one flaw under two names, within a range of sizes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from learning.rows import Rows
from seamtell.features.contracts import Flaw

__all__ = ["BORDERS", "BorderPair", "border_mask", "forgiven"]

_MEASURED = 1.05
"""Sizes are measured to some percent."""


@dataclass(frozen=True)
class BorderPair:
    """Two classes that cannot be told apart where sizes meet.

    Parameters
    ----------
    sizes_mm : (float, float)
        Length of the flaw that was answered with the other's name.
    deepest_share : float
        Greatest depth over the joint's thickness; asked of lack of fusion alone.
    """

    name: str
    classes: tuple[Flaw, Flaw]
    sizes_mm: tuple[float, float]
    deepest_share: float = 1.0


BORDERS = (
    BorderPair("notch and lack of fusion, 5–10 mm", (Flaw.EDGE_NOTCH, Flaw.LACK_OF_FUSION), (5.0, 10.0)),
    BorderPair("notch and pinhole, 1.2–3 mm", (Flaw.EDGE_NOTCH, Flaw.PINHOLE), (1.2, 3.0)),
    BorderPair(
        "mismatch and shallow lack of fusion, from 10 mm",
        (Flaw.MISMATCH, Flaw.LACK_OF_FUSION),
        (10.0, 200.0),
        0.4,
    ),
)


def border_mask(
    pair: BorderPair, rows: Rows, truths: NDArray[np.str_], answers: NDArray[np.str_]
) -> NDArray[np.bool_]:
    """Rows of shape (n,) whose truth was answered with the other name of `pair`, at sizes of the border."""
    one, other = (flaw.value for flaw in pair.classes)
    swapped = ((truths == one) & (answers == other)) | ((truths == other) & (answers == one))
    low, high = pair.sizes_mm
    within = (rows.sizes_mm >= low / _MEASURED) & (rows.sizes_mm <= high * _MEASURED)
    shallow = (truths != Flaw.LACK_OF_FUSION.value) | (rows.depth_share <= pair.deepest_share * _MEASURED)
    return swapped & within & shallow


def forgiven(rows: Rows, truths: NDArray[np.str_], answers: NDArray[np.str_]) -> NDArray[np.str_]:
    """Answers of shape (n,) with those of a border pair counted as the truth: the pair is one class there."""
    merged = answers.copy()
    for pair in BORDERS:
        here = border_mask(pair, rows, truths, answers)
        merged[here] = truths[here]
    return merged
