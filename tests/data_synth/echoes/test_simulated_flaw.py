from __future__ import annotations

import pytest

from seamtell.data_synth.flaws import Hole, Mismatch, RoughJoint, Slot
from seamtell.data_synth.head import Joint
from seamtell.data_synth.simulated_flaw import EchoCause, SimulatedFlaw, Size
from seamtell.features.contracts import Flaw

JOINT = Joint(1.5, 1.3)


@pytest.mark.parametrize("cause", EchoCause)
def test_every_cause_has_a_label_that_a_section_can_find(cause):
    sound = cause in (EchoCause.DROPLET, EchoCause.GAIN_CHANGE)
    assert cause.label is (Flaw.SOUND if sound else Flaw(cause.value))


def test_each_cause_becomes_its_own_geometry():
    def of(**sizes: object) -> type:
        return type(SimulatedFlaw(**sizes).geometry(JOINT)[0])  # type: ignore[arg-type]

    assert of(cause=EchoCause.PINHOLE, diameter_mm=1.0) is Hole
    assert of(cause=EchoCause.EDGE_NOTCH, length_mm=4, depth_mm=0.5, width_mm=0.1) is Slot
    assert of(cause=EchoCause.MISMATCH, length_mm=20, shift_mm=0.2, ramp_mm=4) is Mismatch
    assert of(cause=EchoCause.DROPLET, length_mm=3, height_mm=0.3, width_mm=1) is RoughJoint
    assert SimulatedFlaw(EchoCause.GAIN_CHANGE, length_mm=20, gain_db=2).geometry(JOINT) == ()


def test_two_holes_lie_their_gap_apart_about_zero():
    pair = SimulatedFlaw(EchoCause.PINHOLE, diameter_mm=0.8, second_mm=1.2, gap_mm=5.0)
    one, two = pair.geometry(JOINT)
    assert (one.x_mm, two.x_mm) == (-2.5, 2.5)
    assert pair.sizes[Size.DIAMETER] == 1.2


def test_stated_depth_is_the_deepest_point():
    for lean in (-0.4, 0.0, 0.4):
        flaw = SimulatedFlaw(EchoCause.LACK_OF_FUSION, length_mm=20, depth_mm=1.0, width_mm=0.1, lean=lean)
        (slot,) = flaw.geometry(JOINT)
        assert max(depth for _, depth in slot.depth_points_mm) == pytest.approx(1.0)


def test_a_slot_deeper_than_the_thinnest_ligament_goes_through():
    flaw = SimulatedFlaw(EchoCause.LACK_OF_FUSION, length_mm=20, depth_mm=1.39, width_mm=0.1)
    assert {depth for _, depth in flaw.geometry(JOINT)[0].depth_points_mm} == {JOINT.mean_mm}


def test_a_shift_is_stated_by_its_way():
    up = SimulatedFlaw(EchoCause.MISMATCH, length_mm=20, shift_mm=-0.2, ramp_mm=4)
    assert up.sizes == {Size.LENGTH: 20, Size.RAISED: 0.2}


def test_ramps_stay_within_a_shortened_mismatch():
    flaw = SimulatedFlaw(EchoCause.MISMATCH, length_mm=10, shift_mm=0.2, ramp_mm=10)
    assert flaw.resized({"length_mm": 8.0}).ramp_mm == 8.0
