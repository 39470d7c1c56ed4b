import numpy as np
import pytest

from seamtell.data_synth.head import Joint
from seamtell.data_synth.scattering.change_tables import bead_table, shift_table
from seamtell.data_synth.scattering.strength import bead_strength, shift_strength
from seamtell.features.errors import SeamtellError

JOINT, K = Joint(1.5, 1.3), 1.16716


@pytest.mark.parametrize("shift_mm", [-1.1, -0.4, -0.18, -0.07, -0.02, 0.01, 0.06, 0.12, 0.25, 0.7, 1.05])
def test_shift_table_is_within_1e_3_of_the_direct_answer(shift_mm: float) -> None:
    direct = shift_strength(JOINT, shift_mm, K) - shift_strength(JOINT, 0.0, K)
    assert abs(shift_table(JOINT, K).added(np.array([shift_mm]))[0] - direct) < 1e-3


def test_shift_near_zero_runs_into_the_sound_joint_from_both_sides() -> None:
    found = shift_table(JOINT, K).added(np.array([-1e-3, -1e-6, 0.0, 1e-6, 1e-3]))
    assert found[2] == 0
    assert np.abs(found).max() < 1e-3
    assert np.abs(found[[1, 3]]).max() < 1e-6


def test_shift_beyond_the_table_is_refused() -> None:
    with pytest.raises(SeamtellError, match=r"offset by 1.20 mm, expected -1.27 to 1.10 mm"):
        shift_table(JOINT, K).added(np.array([0.1, 1.2]))


@pytest.mark.parametrize("height_mm", [-0.8, -0.3, -0.1, -0.01, 0.01, 0.1, 0.3, 0.6, 1.0])
def test_bead_table_is_near_the_direct_answer(height_mm: float) -> None:
    direct = bead_strength(JOINT, height_mm, 1.0, K) - bead_strength(JOINT, 0.0, 1.0, K)
    # the stairs of a roundly smooth table meet those of the direct answer to a few parts in a thousand
    assert abs(bead_table(JOINT, 1.0, K).added(np.array([height_mm]))[0] - direct) < 1e-3


def test_bead_of_no_height_is_none() -> None:
    assert bead_table(JOINT, 1.0, K).added(np.array([0.0]))[0] == 0


def test_bead_beyond_the_table_is_refused() -> None:
    with pytest.raises(SeamtellError, match=r"bead of -1.00 mm, expected -0.91 to 1.30 mm"):
        bead_table(JOINT, 1.0, K).added(np.array([0.2, -1.0]))


@pytest.mark.parametrize("width_mm", [0.6, 0.87, 1.13, 1.58, 2.4])
@pytest.mark.parametrize("height_mm", [-0.4, 0.05, 0.3, 0.7])
def test_bead_of_a_width_between_the_tables_is_near_the_direct_answer(
    width_mm: float, height_mm: float
) -> None:
    direct = bead_strength(JOINT, height_mm, width_mm, K) - bead_strength(JOINT, 0.0, width_mm, K)
    # worst where the bead is as wide as the ramp and its edges meet the stairs
    assert abs(bead_table(JOINT, width_mm, K).added(np.array([height_mm]))[0] - direct) < 3e-3
