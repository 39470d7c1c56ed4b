import pytest

from seamtell.data_synth.head import Joint
from seamtell.data_synth.scattering.joint_chain import (
    bead_chain,
    deepest_slot_mm,
    embedded_chain,
    offset_chain,
    slot_chain,
    sound_chain,
)
from seamtell.data_synth.scattering.sections import Chain
from seamtell.features.contracts import Side
from seamtell.features.errors import SeamtellError

JOINT = Joint(1.5, 1.3)


def ends(chain: Chain) -> tuple[object, object]:
    return chain.sections[0].intervals_mm, chain.sections[-1].intervals_mm


@pytest.mark.parametrize(
    "chain",
    [
        sound_chain(JOINT),
        slot_chain(JOINT, 0.5, 0.3, Side.TOP),
        bead_chain(JOINT, 0.2, 1.0),
        embedded_chain(JOINT, 0.4, 0.9, 0.1),
    ],
)
def test_chain_runs_from_sheet_a_to_sheet_b(chain: Chain) -> None:
    assert ends(chain) == (((0.0, 1.5),), ((0.0, 1.3),))
    assert chain.start_mm + chain.end_mm == pytest.approx(0, abs=1e-12)


def test_slot_leaves_its_ligament_and_takes_its_width() -> None:
    chain = slot_chain(Joint(1.4, 1.4), 0.5, 0.3, Side.BOTTOM)
    cut = [section for section in chain.sections if section.intervals_mm == ((0.5, 1.4),)]
    assert sum(section.length_mm for section in cut) == pytest.approx(0.3)


def test_embedded_slot_leaves_two_ligaments() -> None:
    chain = embedded_chain(Joint(1.4, 1.4), 0.4, 0.9, 0.1)
    assert ((0.0, 0.4), (0.9, 1.4)) in [section.intervals_mm for section in chain.sections]


@pytest.mark.parametrize(("shift_mm", "common"), [(0.3, (0.0, 1.0)), (-0.3, (0.3, 1.5))])
def test_offset_sheets_share_the_common_ligament_in_the_middle(
    shift_mm: float, common: tuple[float, float]
) -> None:
    chain = offset_chain(JOINT, shift_mm)
    low, high = chain.sections[-1].intervals_mm[0]
    assert (low, high) == pytest.approx((-shift_mm, 1.3 - shift_mm))
    thinnest = min(
        chain.sections, key=lambda section: section.intervals_mm[0][1] - section.intervals_mm[0][0]
    )
    assert thinnest.intervals_mm[0] == pytest.approx(common, abs=0.01)


def test_no_offset_is_the_sound_joint() -> None:
    assert ends(offset_chain(JOINT, 0.0)) == ends(sound_chain(JOINT))
    assert offset_chain(JOINT, 0.0).end_mm == pytest.approx(0.3)


def test_wide_slot_from_below_is_through_once_it_meets_the_thin_sheet() -> None:
    assert deepest_slot_mm(JOINT, 2.0, Side.BOTTOM) == pytest.approx(1.3)
    assert deepest_slot_mm(JOINT, 0.01, Side.BOTTOM) == pytest.approx(1.4, abs=0.05)
    assert deepest_slot_mm(JOINT, 2.0, Side.TOP) == pytest.approx(1.4)


@pytest.mark.parametrize(
    ("depth_mm", "side"), [(1.4, Side.TOP), (1.41, Side.BOTTOM), (0.5, Side.THROUGH), (-0.1, Side.TOP)]
)
def test_slot_without_ligament_is_refused(depth_mm: float, side: Side) -> None:
    with pytest.raises(SeamtellError, match="so that a ligament is left"):
        slot_chain(JOINT, depth_mm, 0.1, side)
