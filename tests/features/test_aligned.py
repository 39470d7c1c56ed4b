import numpy as np
import pytest

from seamtell.features.aligned import LINE_BYTES, aligned_empty


@pytest.mark.parametrize("kind", [np.uint8, np.float32, np.float64, np.int64])
@pytest.mark.parametrize("shape", [1, 65, (3, 7), (2, 5, 33)])
def test_every_row_begins_with_a_line_of_the_cache(shape, kind):
    found = aligned_empty(shape, kind)
    wanted = (shape,) if isinstance(shape, int) else shape
    assert found.dtype == kind
    assert found.flags.c_contiguous
    assert found.shape[:-1] == wanted[:-1]
    assert found.shape[-1] >= wanted[-1]
    for row in np.ndindex(found.shape[:-1]):
        assert found[row].ctypes.data % LINE_BYTES == 0
