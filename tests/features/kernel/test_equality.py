"""The compiled kernel against its specification, the readable implementation.

``SEAMTELL_COVERAGE=full`` compares 20,000 random seams instead of 1,200.
"""

import os
import sys
from pathlib import Path

import numpy as np
import pytest

from seamtell.features.descriptors.registry import ALL
from seamtell.features.kernel.batch import describe_batch
from seamtell.features.trace_batch import TraceBatch

sys.path.insert(0, str(Path(__file__).parent))
from random_seams import RECIPES, random_seams
from reference_batch import reference_batch

sys.path.remove(str(Path(__file__).parent))

FULL = os.environ.get("SEAMTELL_COVERAGE") == "full"
BATCHES, BATCH = (40, 500) if FULL else (4, 300)
RELATIVE = 1e-5
FLOOR = 1e-9
USUAL = np.array([1.0 if one.unit in ("1", "dB", "mm") else 0.0 for one in ALL])
"""What is usual for the unit: a difference below `FLOOR` of it is the rounding of a zero. Figures
that follow the gain have no usual size."""


@pytest.mark.parametrize("seed", range(BATCHES))
def test_kernel_and_specification_find_and_describe_the_same(seed):
    batch = TraceBatch.of_traces(random_seams(BATCH, seed))
    got, expected = describe_batch(batch, RECIPES), reference_batch(batch, RECIPES)

    np.testing.assert_array_equal(got.status, expected.status)
    np.testing.assert_array_equal(got.dead_zone_indications, expected.dead_zone_indications)
    np.testing.assert_array_equal(got.seam, expected.seam)
    for name in ("indication", "shown", "exceeded"):
        np.testing.assert_array_equal(getattr(got, name), getattr(expected, name), err_msg=name)
    for name in ("start_mm", "end_mm", "peak_mm", "noise_pct", "baseline_pct"):
        np.testing.assert_allclose(
            getattr(got, name), getattr(expected, name), rtol=1e-9, atol=1e-12, err_msg=name
        )
    assert np.isfinite(got.descriptors).all()
    allowed = RELATIVE * np.abs(expected.descriptors) + FLOOR * USUAL
    off = np.abs(got.descriptors - expected.descriptors) - allowed
    worst = np.unravel_index(np.argmax(off), off.shape)
    assert off[worst] <= 0.0, (
        f"{ALL[worst[1]].name} of seam {got.seam[worst[0]]}: kernel {got.descriptors[worst]}, "
        f"specification {expected.descriptors[worst]}"
    )
