"""From NumPy to Arrow and back by their buffers, without a copy where the layouts agree.

pyarrow's own ``array`` and ``to_numpy`` import pandas when they are called first, whatever they are given;
that takes longer than deciding on thousands of seams, which needs no pandas.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    import pyarrow as pa

__all__ = ["flags", "numbers", "numbers_of", "numbers_or_null", "present", "texts"]

_KINDS: dict[str, np.dtype[Any]] = {
    "int32": np.dtype(np.int32),
    "int64": np.dtype(np.int64),
    "float": np.dtype(np.float32),
    "double": np.dtype(np.float64),
}
"""By Arrow's names."""


def numbers(values: NDArray[Any]) -> pa.Array:
    """Integers or floats as they are; NaN stays NaN.

    Examples
    --------
    >>> numbers(np.array([3, 1])).to_pylist()
    [3, 1]
    """
    import pyarrow as pa

    data = np.ascontiguousarray(values)
    return pa.Array.from_buffers(pa.from_numpy_dtype(data.dtype), len(data), [None, pa.py_buffer(data)])


def numbers_or_null(values: NDArray[np.float64]) -> pa.Array:
    """Floats; NaN is null.

    Examples
    --------
    >>> numbers_or_null(np.array([0.5, np.nan])).to_pylist()
    [0.5, None]
    """
    import pyarrow as pa

    data = np.ascontiguousarray(values, dtype=np.float64)
    known = ~np.isnan(data)
    validity = None if known.all() else _bits(known)
    return pa.Array.from_buffers(pa.float64(), len(data), [validity, pa.py_buffer(data)])


def flags(values: NDArray[np.bool_]) -> pa.Array:
    """Truth values.

    Examples
    --------
    >>> flags(np.array([True, False])).to_pylist()
    [True, False]
    """
    import pyarrow as pa

    return pa.Array.from_buffers(pa.bool_(), len(values), [None, _bits(values)])


def texts(values: Sequence[str]) -> pa.Array:
    """Texts.

    Examples
    --------
    >>> texts(["weld", "", "Ü"]).to_pylist()
    ['weld', '', 'Ü']
    """
    import pyarrow as pa

    encoded = [value.encode("utf-8") for value in values]
    ends = np.cumsum([0, *map(len, encoded)], dtype=np.int32)
    return pa.StringArray.from_buffers(len(encoded), pa.py_buffer(ends), pa.py_buffer(b"".join(encoded)))


def numbers_of(array: pa.Array) -> NDArray[Any]:
    """Numbers of an array, read-only; what a null stands on is not defined.

    Raises
    ------
    KeyError
        Other numbers than of 32 or 64 bits, or none.

    Examples
    --------
    >>> import pyarrow as pa
    >>> numbers_of(pa.array([1.5, 2.5, 3.5]).slice(1))
    array([2.5, 3.5])
    """
    kind = _KINDS[str(array.type)]
    if not len(array):
        return np.empty(0, kind)
    return np.frombuffer(array.buffers()[1], kind, len(array), array.offset * kind.itemsize)


def present(array: pa.Array) -> NDArray[np.bool_]:
    """Which values of an array are not null.

    Examples
    --------
    >>> import pyarrow as pa
    >>> present(pa.array([1, None, 3]))
    array([ True, False,  True])
    """
    validity = array.buffers()[0]
    if not array.null_count or validity is None:
        return np.ones(len(array), dtype=np.bool_)
    bits = np.unpackbits(
        np.frombuffer(validity, np.uint8), count=array.offset + len(array), bitorder="little"
    )
    return bits[array.offset :].astype(np.bool_)


def _bits(values: NDArray[np.bool_]) -> pa.Buffer:
    import pyarrow as pa

    return pa.py_buffer(np.packbits(values, bitorder="little"))
