import numpy as np
import pytest

from seamtell.data_synth.head import Joint
from seamtell.data_synth.scattering.joint_chain import sound_chain
from seamtell.data_synth.scattering.mode_matching import Chain, Section, scatter
from seamtell.data_synth.scattering.strength import (
    bead_strength,
    embedded_strength,
    shift_strength,
    slot_strength,
    sound_strength,
)
from seamtell.features.contracts import Side
from seamtell.features.errors import SeamtellError

JOINT, K = Joint(1.5, 1.3), 1.16716
PROTOTYPE = 2.5e-3
"""An independent prototype: cosine modes, six even stairs, so good to about 1e-3 itself; twelve stairs and
the smooth ramp differ by as much again."""


def test_sound_joint_meets_the_independent_prototype() -> None:
    assert sound_strength(JOINT, K) == pytest.approx(0.06767 - 0.00867j, abs=5e-4)


def test_twelve_stairs_stand_for_the_smooth_ramp() -> None:
    edges = np.linspace(-0.3, 0.3, 41)
    tops = 1.4 - 0.1 * np.sin(np.pi * (edges[1:] + edges[:-1]) / 2 / 0.6)
    stairs = [Section.of(0, float(top), 0.015) for top in tops]
    fine = Chain((Section.of(0, 1.5), *stairs, Section.of(0, 1.3)), -0.3)
    assert scatter(fine, K, tolerance=1e-3).reflection == pytest.approx(sound_strength(JOINT, K), abs=7e-4)
    assert len(sound_chain(JOINT).sections) == 14


@pytest.mark.parametrize(
    ("depth_mm", "width_mm", "side", "expected"),
    [
        (0.84, 0.1, Side.BOTTOM, 0.40039 - 0.48254j),
        (0.63, 0.3, Side.TOP, 0.20152 - 0.43591j),
        (0.35, 0.3, Side.TOP, 0.07251 - 0.19070j),
    ],
)
def test_slot_meets_the_independent_prototype(
    depth_mm: float, width_mm: float, side: Side, expected: complex
) -> None:
    assert slot_strength(JOINT, depth_mm, width_mm, side, K) == pytest.approx(expected, abs=PROTOTYPE)


@pytest.mark.parametrize(
    ("shift_mm", "expected"),
    [(0.15, 0.04348 - 0.14446j), (0.30, 0.05692 - 0.25896j), (-0.30, 0.04300 - 0.11049j)],
)
def test_offset_sheets_meet_the_independent_prototype(shift_mm: float, expected: complex) -> None:
    assert shift_strength(JOINT, shift_mm, K) == pytest.approx(expected, abs=PROTOTYPE)


def test_slot_through_the_sheet_is_a_free_face_half_its_width_nearer() -> None:
    assert slot_strength(JOINT, 1.4, 0.1, Side.TOP, K) == pytest.approx(np.exp(-0.1j * K))
    assert slot_strength(JOINT, 0.0, 0.1, Side.THROUGH, K) == pytest.approx(np.exp(-0.1j * K))


def test_shallow_slot_is_strongest_a_quarter_wave_wide_and_vanishes_at_half_a_wave() -> None:
    # Two small steps, down and up: their echoes differ by 2 k w, so |R| goes with sin(k w) (Born).
    even, wave = Joint(1.4, 1.4), 2 * np.pi / K
    widths = wave * np.array([0.05, 0.15, 0.24, 0.35, 0.48])
    found = np.abs([slot_strength(even, 0.01, w, Side.BOTTOM, K) for w in widths])
    assert found.argmax() == 2
    assert found[-1] < 0.2 * found[2]
    assert found[1] / found[2] == pytest.approx(np.sin(0.3 * np.pi) / np.sin(0.48 * np.pi), rel=0.03)


def test_shallow_bead_reflects_as_born_approximation() -> None:
    # Thickening d over width b: R = i (d / h) sin(k b) with the ends' fringes left out.
    even, height, width = Joint(1.4, 1.4), 0.02, 1.0
    got = bead_strength(even, height, width, K)
    assert got == pytest.approx(1j * height / 1.4 * np.sin(K * width), rel=0.05)


def test_slot_inside_is_weaker_than_the_same_slot_at_a_face() -> None:
    # A crack of length 2a inside opens like two edge cracks of a in mirrored half sheets.
    even = Joint(1.4, 1.4)
    inside = abs(embedded_strength(even, 0.4, 1.0, 0.1, K))
    assert 0.05 < inside < 0.6 * abs(slot_strength(even, 0.6, 0.1, Side.BOTTOM, K))


@pytest.mark.parametrize("side", [Side.TOP, Side.BOTTOM])
def test_deeper_slots_reflect_more(side: Side) -> None:
    found = [abs(slot_strength(JOINT, d, 0.1, side, K)) for d in (0.2, 0.5, 0.8, 1.1, 1.3)]
    assert np.all(np.diff(found) > 0)


def test_sheets_that_do_not_touch_are_refused() -> None:
    with pytest.raises(SeamtellError, match=r"offset by 1.4 mm, expected between -1.5 and 1.3 mm"):
        shift_strength(JOINT, 1.4, K)


def test_groove_through_the_joint_is_refused() -> None:
    with pytest.raises(SeamtellError, match=r"bead of -1.5 mm .* ligament above zero"):
        bead_strength(JOINT, -1.5, 1.0, K)
