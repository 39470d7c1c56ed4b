import numpy as np
import pytest

from seamtell.data_synth.flaws import Hole, Slot
from seamtell.data_synth.head import Head, Joint
from seamtell.data_synth.nuisances import Nuisances
from seamtell.data_synth.recording import record
from seamtell.data_synth.shop_plan import ShopPlan
from seamtell.features.contracts import Channel, RecipeLimits, SeamTrace, Side
from seamtell.features.indications import IndicationSettings, find_indications

PLACES = (20.0, 49.0, 78.0, 107.0)
FLAWS = (
    Hole(20.0, 0.5),
    Slot.even(49.0, 5.0, 0.63, 0.3, Side.TOP),
    Hole(78.0, 0.5),
    Slot.even(107.0, 5.0, 0.63, 0.3, Side.BOTTOM),
)


@pytest.mark.parametrize("seed", range(8))
def test_each_of_the_four_flaws_is_one_indication_that_shows_on_scatter(seed: int) -> None:
    amplitudes = record(
        FLAWS,
        Joint(1.5, 1.3),
        Head(),
        Nuisances(run_in_out=None),
        np.random.SeedSequence(seed),
        n_samples=257,
        pitch_mm=0.5,
        gain_db={Channel.SPECULAR: 0.8, Channel.SCATTER: 0.0},
    )
    trace = SeamTrace("standard", ShopPlan().start, "L1", "MB-1513", 0.0, 0.5, amplitudes)
    limits = RecipeLimits("MB-1513", {"specular": 18.0, "scatter": 6.0}, 5.0, 5.0, 9.4)
    found = find_indications(trace, limits, IndicationSettings())
    assert len(found) == 4
    for place, indication in zip(PLACES, found, strict=True):
        assert indication.start_mm < place < indication.end_mm
        assert "scatter" in indication.channels
