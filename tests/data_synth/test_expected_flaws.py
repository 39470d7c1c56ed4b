from dataclasses import fields, replace

import numpy as np
import pytest
from scipy.stats import kstest, loguniform

from seamtell.data_synth.expected_flaws import (
    ExpectedFlaw,
    FlawRanges,
    GainBump,
    SoundCause,
    draw_expected_flaw,
)
from seamtell.data_synth.flaws import Hole, Mismatch, RoughJoint, Slot
from seamtell.data_synth.head import Joint
from seamtell.features.contracts import Flaw, Side
from seamtell.features.errors import SeamtellError

JOINT = Joint(1.5, 1.3)


def drawn(label: Flaw, n: int = 400, cause: SoundCause | None = None, ranges=None) -> list[ExpectedFlaw]:
    rng = np.random.default_rng(11)
    return [draw_expected_flaw(label, JOINT, rng, ranges, cause) for _ in range(n)]


@pytest.mark.parametrize(
    ("label", "shortest", "longest"),
    # Sizes of the trade; two pores side by side span more than one.
    [
        (Flaw.EDGE_NOTCH, 2.0, 10.0),
        (Flaw.LACK_OF_FUSION, 5.0, 80.0),
        (Flaw.MISMATCH, 10.0, 200.0),
        (Flaw.PINHOLE, 0.2, 12.0),
    ],
)
def test_lengths_fill_the_trade_s_ranges_and_no_more(label: Flaw, shortest: float, longest: float) -> None:
    lengths = [flaw.length_mm for flaw in drawn(label)]
    assert shortest <= min(lengths) < 1.3 * shortest
    assert max(lengths) <= longest
    assert max(lengths) > 0.7 * longest


def test_lengths_over_a_wide_range_are_log_uniform() -> None:
    lengths = [flaw.length_mm for flaw in drawn(Flaw.LACK_OF_FUSION)]
    assert kstest(lengths, loguniform(5.0, 80.0).cdf).pvalue > 0.01


def test_depths_leave_a_ligament_or_cut_through() -> None:
    for flaw in drawn(Flaw.LACK_OF_FUSION) + drawn(Flaw.EDGE_NOTCH):
        (slot,) = flaw.geometry
        assert isinstance(slot, Slot)
        for _, depth in slot.depth_points_mm:
            share = depth / JOINT.mean_mm
            assert 0.04 < share <= 0.95 + 1e-9 or share == pytest.approx(1.0)
    assert all(flaw.side is not Side.THROUGH for flaw in drawn(Flaw.EDGE_NOTCH))


def test_some_lack_of_fusion_goes_through_the_sheet() -> None:
    assert any(flaw.side is Side.THROUGH for flaw in drawn(Flaw.LACK_OF_FUSION))


def test_a_second_pore_never_lies_in_the_first() -> None:
    pairs = [flaw.geometry for flaw in drawn(Flaw.PINHOLE) if len(flaw.geometry) == 2]
    assert len(pairs) > 10
    for first, second in pairs:
        assert isinstance(first, Hole)
        assert first.extent_mm[1] < second.extent_mm[0]


def test_a_mismatch_stays_within_a_third_of_the_thinner_sheet() -> None:
    shifts = [
        part.shift_mm for flaw in drawn(Flaw.MISMATCH) for part in flaw.geometry if isinstance(part, Mismatch)
    ]
    assert max(map(abs, shifts)) <= 0.35 * 1.3
    assert min(shifts) < 0 < max(shifts)


def test_extent_covers_every_part_and_is_centred() -> None:
    for label in Flaw:
        for flaw in drawn(label, 60):
            assert flaw.start_mm + flaw.end_mm == pytest.approx(0, abs=1e-9)
            for part in flaw.geometry:
                assert flaw.start_mm - 1e-9 <= part.extent_mm[0] < part.extent_mm[1] <= flaw.end_mm + 1e-9


def test_placing_moves_all_of_a_flaw() -> None:
    for cause in SoundCause:
        flaw = drawn(Flaw.SOUND, 1, cause)[0]
        there = flaw.placed(100.0)
        assert (there.start_mm, there.end_mm) == (flaw.start_mm + 100, flaw.end_mm + 100)
        if flaw.bump is not None:
            assert there.bump.x_mm == 100.0
        for old, new in zip(flaw.geometry, there.geometry, strict=True):
            assert new.extent_mm[0] == pytest.approx(old.extent_mm[0] + 100)


def test_sound_metal_has_three_causes() -> None:
    causes = {flaw.cause for flaw in drawn(Flaw.SOUND, 60)}
    assert causes == {cause.value for cause in SoundCause}
    assert drawn(Flaw.SOUND, 1, SoundCause.BOUNCE)[0].geometry == ()
    assert isinstance(drawn(Flaw.SOUND, 1, SoundCause.DROPLET)[0].geometry[0], RoughJoint)


def test_a_bump_reaches_its_gain_in_the_middle_and_is_one_outside() -> None:
    at = np.array([0.0, 39.9, 50.0, 60.1])
    # 6.0206 dB are a factor of two, by the definition of the decibel.
    factor = GainBump(50.0, 20.0, 20 * np.log10(2)).factor(at)
    assert factor[2] == pytest.approx(2.0)
    assert factor[[0, 1, 3]].tolist() == [1.0, 1.0, 1.0]


def test_a_class_that_is_switched_off_cannot_be_drawn() -> None:
    ranges = FlawRanges(mismatch=None)
    assert Flaw.MISMATCH not in ranges.labels
    with pytest.raises(SeamtellError, match="class 'mismatch' has no expected range"):
        drawn(Flaw.MISMATCH, 1, ranges=ranges)


@pytest.mark.parametrize(
    ("name", "change", "message"),
    [
        ("pinhole", {"diameter_mm": (2.0, 0.2)}, "diameter_mm is 2 to 0.2, expected rising"),
        ("edge_notch", {"depth_share": (0.1, 1.2)}, "expected rising values within 0 to 1"),
        ("edge_notch", {"width_mm": (0.0, 0.3)}, "width_mm begins at 0 mm, expected more than zero"),
        ("lack_of_fusion", {"full_share": 1.5}, "full_share is 1.5, expected a share"),
        ("lack_of_fusion", {"length_mm": (5.0, float("nan"))}, "expected rising"),
        ("sound", {"droplet_share": 0.9, "bounce_share": 0.3}, "exceed 1 together"),
    ],
)
def test_impossible_ranges_are_refused(name: str, change: dict[str, object], message: str) -> None:
    with pytest.raises(SeamtellError, match=message):
        replace(getattr(FlawRanges(), name), **change)


def test_the_same_generator_draws_the_same_flaws() -> None:
    assert all(drawn(label, 20) == drawn(label, 20) for label in Flaw)


def test_every_class_has_a_range_of_its_own_name() -> None:
    assert {one.name for one in fields(FlawRanges)} == {flaw.value for flaw in Flaw}
