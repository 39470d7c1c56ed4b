from dataclasses import replace

import numpy as np
import pytest

from seamtell.features.contracts import RecipeLimits, SeamTrace
from seamtell.features.described_batch import SeamStatus
from seamtell.features.kernel.batch import describe_batch
from seamtell.features.trace_batch import TraceBatch

LIMITS = {"R1": RecipeLimits("R1", {"specular": 20.0, "scatter": 6.0}, 10.0, 10.0, 9.4)}


@pytest.mark.parametrize("channel", [0, 1])
@pytest.mark.parametrize("beyond", [1, 10**12])
def test_seam_that_reaches_beyond_its_buffer_is_not_read(make_trace, channel, beyond):
    seams: list[SeamTrace] = [make_trace(np.full(400, 7.0), np.full(400, 0.3)) for _ in range(2)]
    batch = TraceBatch.of_traces(seams)
    counts = batch.counts.copy()
    counts[1, channel] += beyond
    found = describe_batch(replace(batch, counts=counts), LIMITS)
    assert found.status.tolist() == [SeamStatus.DESCRIBED, SeamStatus.MISSING_CHANNEL]
