"""Arrays made from buffers against those that pyarrow itself makes."""

from __future__ import annotations

import numpy as np
import pyarrow as pa
import pytest

from seamtell.pipeline.files.arrow_arrays import (
    flags,
    numbers,
    numbers_of,
    numbers_or_null,
    present,
    texts,
)

RNG = np.random.default_rng(3)
SIZES = [0, 1, 7, 8, 9, 1000]


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("kind", [np.int32, np.int64, np.float32, np.float64])
def test_numbers_are_those_of_pyarrow(size: int, kind: type) -> None:
    values = RNG.normal(scale=100, size=(size, 2)).astype(kind)[:, 0]  # not contiguous
    made = numbers(values)
    made.validate(full=True)
    assert made.equals(pa.array(values))


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("share", [0.0, 0.3, 1.0])
def test_nan_is_null_as_pyarrow_makes_it(size: int, share: float) -> None:
    values = np.where(RNG.random(size) < share, np.nan, RNG.normal(size=size))
    made = numbers_or_null(values)
    made.validate(full=True)
    assert made.equals(pa.array(values, from_pandas=True))
    assert made.null_count == np.count_nonzero(np.isnan(values))


@pytest.mark.parametrize("size", SIZES)
def test_flags_are_those_of_pyarrow(size: int) -> None:
    values = RNG.random(size) < 0.5
    made = flags(values)
    made.validate(full=True)
    assert made.equals(pa.array(values))


@pytest.mark.parametrize("values", [[], [""], ["a", "", "bc"], ["Naht-Ü", "焊缝", "a\x00b"]])
def test_texts_are_those_of_pyarrow(values: list[str]) -> None:
    made = texts(values)
    made.validate(full=True)
    assert made.equals(pa.array(values, pa.string()))


@pytest.mark.parametrize("begin", [0, 1, 8, 11])
def test_numbers_and_nulls_of_a_slice_are_read_back(begin: int) -> None:
    values = [None if i % 3 == 0 else float(i) for i in range(40)]
    part = pa.array(values).slice(begin, 20)
    there = present(part)
    assert there.tolist() == [value is not None for value in values[begin : begin + 20]]
    assert numbers_of(part)[there].tolist() == [v for v in values[begin : begin + 20] if v is not None]


def test_an_array_without_nulls_is_present_throughout() -> None:
    assert present(pa.array([1, 2, 3])).tolist() == [True, True, True]
    assert present(pa.array([], pa.float64())).tolist() == []
    assert numbers_of(pa.array([], pa.float32())).dtype == np.float32
