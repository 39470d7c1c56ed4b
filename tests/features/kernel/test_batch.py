import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from seamtell.features.contracts import RecipeLimits, SeamTrace
from seamtell.features.described_batch import SeamStatus
from seamtell.features.kernel import batch as batch_module
from seamtell.features.kernel.batch import describe_batch
from seamtell.features.trace_batch import TraceBatch

sys.path.insert(0, str(Path(__file__).parent))
from random_seams import RECIPES, random_seams

sys.path.remove(str(Path(__file__).parent))

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


def test_seam_is_described_alike_whatever_stands_beside_it():
    # Baselines of neighbours are fitted together: alike ones, longer ones, ones that cannot be described.
    seams = random_seams(40, 11)
    alone = [describe_batch(TraceBatch.of_traces([seam]), RECIPES) for seam in seams]
    order = np.random.default_rng(3).permutation(np.repeat(np.arange(len(seams)), 5))
    together = describe_batch(TraceBatch.of_traces([seams[k] for k in order]), RECIPES)
    assert len({one.status[0] for one in alone}) > 1
    for place, k in enumerate(order):
        rows = together.seam == place
        assert together.status[place] == alone[k].status[0]
        assert together.dead_zone_indications[place] == alone[k].dead_zone_indications[0]
        for of_channel in ("baseline_pct", "noise_pct"):
            expected = getattr(alone[k], of_channel)[0]
            np.testing.assert_array_equal(getattr(together, of_channel)[place, : len(expected)], expected)
        for name in ("start_mm", "end_mm", "peak_mm", "descriptors"):
            np.testing.assert_array_equal(getattr(together, name)[rows], getattr(alone[k], name))


def test_seams_that_find_no_room_for_their_indications_are_described_all_the_same(monkeypatch):
    batch = TraceBatch.of_traces(random_seams(200, 12))
    expected = describe_batch(batch, RECIPES)
    fewest = 64
    assert len(expected) > 4 * fewest
    monkeypatch.setattr(batch_module, "_ROOM_PER_SEAM", 0)
    monkeypatch.setattr(batch_module, "_SAMPLES_PER_ROOM", 10**9)
    found = describe_batch(batch, RECIPES)
    for name, column in vars(expected).items():
        np.testing.assert_array_equal(getattr(found, name), column, err_msg=name)
