import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from seamtell.data_synth.head import Joint
from seamtell.data_synth.scattering.joint_chain import slot_chain
from seamtell.data_synth.scattering.mode_matching import scatter_once
from seamtell.data_synth.scattering.slot_table import (
    removed_mass_reflection,
    sliding_part,
    slot_table,
    twin_reflection,
)
from seamtell.features.contracts import Side
from seamtell.features.errors import SeamtellError

from .first_order import twin_compliance_mm

JOINT, K = Joint(1.5, 1.3), 1.16716


def well_resolved(joint: Joint, depth_mm: float, width_mm: float, side: Side, k: float) -> complex:
    """What a slot adds, with twice the trial functions of the table."""
    slot, none = (slot_chain(joint, depth, width_mm, side) for depth in (depth_mm, 0.0))
    return scatter_once(slot, k, 24).reflection - scatter_once(none, k, 24).reflection


@settings(max_examples=60, deadline=None)
@given(
    share=st.floats(0.02, 0.93), width_mm=st.floats(0.03, 1.5), side=st.sampled_from([Side.TOP, Side.BOTTOM])
)
def test_table_is_near_the_well_resolved_answer(share: float, width_mm: float, side: Side) -> None:
    depth = share * 1.3
    direct = well_resolved(JOINT, depth, width_mm, side, K)
    # worst where the slot is just wider than the ramp and its sides meet the stairs
    assert abs(slot_table(JOINT, side, K).added(np.array([depth]), width_mm)[0] - direct) < 3e-3


@pytest.mark.parametrize(
    ("joint", "error"), [(Joint(1.2, 1.0), 2e-3), (Joint(1.0, 1.6), 5e-3), (Joint(0.8, 2.0), 5e-3)]
)
def test_table_holds_for_other_sheets(joint: Joint, error: float) -> None:
    # Worse the more the sheets differ: the stairs beside the slot go once it is nearly as wide.
    table = slot_table(joint, Side.BOTTOM, 0.9)
    for share, width in ((0.3, 0.1), (0.7, 0.4)):
        depth = share * min(joint.sheet_a_mm, joint.sheet_b_mm)
        direct = well_resolved(joint, depth, width, Side.BOTTOM, 0.9)
        assert abs(table.added(np.array([depth]), width)[0] - direct) < error


def test_no_depth_adds_nothing_and_full_depth_is_the_free_face() -> None:
    table = slot_table(JOINT, Side.TOP, K)
    added = table.added(np.array([0.0, 1.4, 5.0]), 0.2)
    assert abs(added[0]) < 1e-12
    # a free face, less the reflection of the joint's stairs without the slot
    assert added[1] == pytest.approx(np.exp(-0.2j * K) - (0.0677 - 0.0087j), abs=3e-3)
    assert added[2] == added[1]


@pytest.mark.parametrize(
    ("depth_mm", "width_mm", "side", "expected"),
    [(0.63, 0.3, Side.TOP, 0.73984 - 0.01739j), (0.84, 0.1, Side.BOTTOM, 1.27678 + 0.02515j)],
)
def test_compliance_meets_the_independent_prototype(
    depth_mm: float, width_mm: float, side: Side, expected: complex
) -> None:
    # The prototype's stairs are even and do not move with the slot, hence 2 % and not 0.1 %.
    stiffness = slot_table(JOINT, side, K).stiffness_per_mm(np.array([depth_mm]), width_mm)[0]
    assert abs(1 / stiffness - expected) < 0.02 * abs(expected)


@pytest.mark.parametrize("depth_mm", [0.1, 0.5, 1.0, 1.3])
def test_twin_compliance_is_the_integral_of_the_handbook_stress_intensity(depth_mm: float) -> None:
    # Tada, Paris, Irwin, Stress Analysis of Cracks Handbook (from memory): edge crack in a strip under
    # anti-plane shear, K = sigma sqrt(2 h tan(pi d / 2h)); energy release gives c' = K^2 / (sigma^2 h).
    h = 1.4
    exact, _ = quad(lambda d: 2 * np.tan(np.pi * d / (2 * h)), 0, depth_mm)
    assert twin_compliance_mm(np.array(depth_mm), 1e-12, h) == pytest.approx(exact, rel=1e-9)


@pytest.mark.parametrize(("depth_mm", "width_mm", "expected"), [(0.63, 0.3, 0.7337), (0.84, 0.1, 1.0972)])
def test_twin_compliance_meets_the_independent_prototype(
    depth_mm: float, width_mm: float, expected: float
) -> None:
    assert twin_compliance_mm(np.array(depth_mm), width_mm, 1.4) == pytest.approx(expected, abs=1e-3)


def test_slot_through_the_sheet_gives_without_end() -> None:
    assert twin_compliance_mm(np.array(1.4), 0.1, 1.4) == float("inf")


def test_numerical_compliance_becomes_the_twins_for_a_thin_shallow_slot_in_an_even_sheet() -> None:
    # Low frequency: only the static crack and the thinner strip are left.
    even = Joint(1.4, 1.4)
    found = 1 / slot_table(even, Side.BOTTOM, 0.05).stiffness_per_mm(np.array([0.7]), 0.02)[0]
    assert found.real == pytest.approx(float(twin_compliance_mm(np.array(0.7), 0.02, 1.4)), rel=0.04)


def test_twin_of_a_slot_through_the_sheet_is_a_free_face() -> None:
    found = twin_reflection(JOINT, np.array([0.0]), 0.3, 1.4, K)[0]
    assert found == pytest.approx(np.exp(-0.3j * K), abs=1e-6)


def test_removed_mass_reflects_no_more_than_everything() -> None:
    assert abs(removed_mass_reflection(np.array(1.4), 100.0, 1.4, 1.167)) <= 1


def test_mass_and_sliding_make_up_the_whole() -> None:
    added = np.array([0.2 - 0.3j])
    sliding = sliding_part(JOINT, np.array([0.5]), 0.3, added, K)
    mass = removed_mass_reflection(np.array([0.5]), 0.3, 1.4, K)
    whole = 2 * 1.3 / 2.8 * sliding + (2 * 1.5 / 2.8) ** 2 * (2 * 1.3 / 2.8) * mass
    assert whole == pytest.approx(added)


def test_slot_without_width_is_refused() -> None:
    with pytest.raises(SeamtellError, match=r"slot 0\.0 mm wide, expected more than zero"):
        slot_table(JOINT, Side.TOP, K).added(np.array([0.5]), 0.0)
