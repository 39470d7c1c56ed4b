import numpy as np
import pytest

from seamtell.data_synth.flaw_sizes import HiddenFlaw, draw_flaw, draw_spatter
from seamtell.data_synth.head import Joint
from seamtell.data_synth.nuisances import Spatter
from seamtell.features.contracts import Flaw, Side

JOINT = Joint(1.5, 1.3)
REAL = [flaw for flaw in Flaw if flaw is not Flaw.SOUND]


def drawn(label: Flaw, n: int = 400) -> list[HiddenFlaw]:
    rng = np.random.default_rng(7)
    return [draw_flaw(label, JOINT, rng) for _ in range(n)]


@pytest.mark.parametrize(
    ("label", "shortest", "longest"),
    # Sizes of the trade: pores 0.2-2 mm (two side by side span more), notches 2-10, lack of fusion 5-80,
    # mismatch 10-200 mm.
    [
        (Flaw.PINHOLE, 0.2, 11.0),
        (Flaw.EDGE_NOTCH, 2.0, 10.0),
        (Flaw.LACK_OF_FUSION, 5.0, 80.0),
        (Flaw.MISMATCH, 10.0, 200.0),
    ],
)
def test_lengths_stay_within_the_trade_s_ranges(label: Flaw, shortest: float, longest: float) -> None:
    lengths = [flaw.length_mm for flaw in drawn(label)]
    assert shortest - 1e-9 <= min(lengths)
    assert max(lengths) <= longest + 1e-9


def test_every_flaw_is_centred_and_leaves_the_sheet_whole_or_cut_through() -> None:
    for label in REAL:
        for flaw in drawn(label, 50):
            assert flaw.start_mm + flaw.end_mm == pytest.approx(0, abs=1e-9)
            assert 0 < flaw.depth_mm <= 1.4 + 1e-9


def test_neighbouring_classes_overlap_in_length_and_depth() -> None:
    notch, fusion, offset = drawn(Flaw.EDGE_NOTCH), drawn(Flaw.LACK_OF_FUSION), drawn(Flaw.MISMATCH)
    short = min(flaw.length_mm for flaw in fusion)
    assert np.mean([flaw.length_mm > short for flaw in notch]) > 0.2
    deepest = max(flaw.depth_mm for flaw in notch)
    assert np.mean([flaw.depth_mm < deepest for flaw in fusion]) > 0.4
    assert np.mean([flaw.length_mm > 20 for flaw in fusion]) > 0.2
    assert min(flaw.length_mm for flaw in offset) < 20


def test_placing_a_flaw_moves_its_parts_along() -> None:
    flaw = drawn(Flaw.PINHOLE, 1)[0]
    there = flaw.placed(100.0)
    assert there.start_mm == pytest.approx(flaw.start_mm + 100)
    assert there.geometry[0].extent_mm[0] == pytest.approx(flaw.geometry[0].extent_mm[0] + 100)


def test_a_droplet_is_sound_metal() -> None:
    droplet = draw_spatter(Spatter(), np.random.default_rng(2))
    assert droplet.label is Flaw.SOUND
    assert droplet.side is Side.TOP
