"""Columns of text whose cells are few different ones: each is spelt once and looked up."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from seamtell.pipeline.decisions.answer_table import LIST_MARK
from seamtell.pipeline.files.arrow_arrays import numbers, texts

if TYPE_CHECKING:
    import pyarrow as pa

__all__ = ["looked_up", "member_names"]


def looked_up(names: tuple[str, ...], codes: NDArray[np.signedinteger]) -> pa.Array:
    """Text of each code; -1 is the last name."""
    places = np.where(codes < 0, len(names) - 1, codes).astype(np.int32)
    return texts(names).take(numbers(places))


def member_names(names: tuple[str, ...], members: NDArray[np.bool_]) -> pa.Array:
    """Names of the members of each row, joined; looked up among the combinations that occur."""
    weights = np.int64(1) << np.arange(len(names), dtype=np.int64)
    found, index = np.unique(members @ weights, return_inverse=True)
    spelt = [LIST_MARK.join(name for k, name in enumerate(names) if key >> k & 1) for key in found.tolist()]
    return looked_up(tuple(spelt), index)
