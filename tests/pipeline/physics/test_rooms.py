import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seamtell.data_synth.expected_flaws import ExpectedFlaw
from seamtell.features.contracts import Flaw
from seamtell.pipeline.physics.rooms import CLEAR_BEAMS, Room, free_stretches


def flaw(length_mm: float) -> ExpectedFlaw:
    half = length_mm / 2
    return ExpectedFlaw(Flaw.PINHOLE, "pinhole", (), -half, half, length_mm)


def test_what_is_taken_keeps_its_distance_on_both_sides() -> None:
    assert free_stretches((10.0, 90.0), [(40.0, 42.0)], 5.0) == ((10.0, 35.0), (47.0, 90.0))


@pytest.mark.parametrize(
    ("taken", "free"),
    [
        ([], ((10.0, 90.0),)),
        ([(0.0, 8.0)], ((13.0, 90.0),)),
        ([(85.0, 200.0)], ((10.0, 80.0),)),
        ([(20.0, 30.0), (25.0, 50.0)], ((10.0, 15.0), (55.0, 90.0))),
        ([(10.0, 90.0)], ()),
        ([(300.0, 310.0)], ((10.0, 90.0),)),
        ([(-50.0, -40.0)], ((10.0, 90.0),)),
    ],
)
def test_free_stretches_lie_inside_what_is_judged(taken, free) -> None:
    assert free_stretches((10.0, 90.0), taken, 5.0) == free


extents = st.lists(
    st.tuples(st.floats(0, 400), st.floats(0, 60)).map(lambda e: (e[0], e[0] + e[1])), max_size=6
)


@settings(max_examples=60, deadline=None)
@given(
    taken=extents, lengths=st.lists(st.floats(0.2, 90.0), min_size=1, max_size=6), seed=st.integers(0, 999)
)
def test_placed_flaws_keep_clear_of_everything(taken, lengths, seed: int) -> None:
    beam = 9.0
    stretches = free_stretches((15.0, 385.0), taken, CLEAR_BEAMS * beam)
    room, rng = Room(stretches, 400.0, beam), np.random.default_rng(seed)
    placed = [room.place(flaw(length), rng) for length in lengths]
    assert len(room.flaws) == sum(placed) <= 3
    for one in room.flaws:
        assert one.start_mm >= 15.0 - 1e-6
        assert one.end_mm <= 385.0 + 1e-6
        for start, end in taken:
            assert max(start - one.end_mm, one.start_mm - end) >= CLEAR_BEAMS * beam - 1e-6
    ordered = sorted(room.flaws, key=lambda one: one.start_mm)
    assert all(b.start_mm - a.end_mm >= 2 * CLEAR_BEAMS * beam - 1e-6 for a, b in itertools.pairwise(ordered))


def test_a_room_takes_three_flaws() -> None:
    room, rng = Room(((15.0, 985.0),), 1000.0, 9.0), np.random.default_rng(1)
    assert [room.place(flaw(2.0), rng) for _ in range(4)] == [True, True, True, False]
    assert room.is_full


def test_a_seam_stays_half_sound_so_that_its_baseline_is_one() -> None:
    room, rng = Room(((15.0, 385.0),), 400.0, 9.0), np.random.default_rng(1)
    assert not room.place(flaw(210.0), rng)
    assert room.place(flaw(150.0), rng)


def test_places_are_spread_over_the_stretches_by_their_length() -> None:
    starts = []
    for seed in range(200):
        room = Room(((0.0, 102.0), (200.0, 502.0)), 600.0, 9.0)
        room.place(flaw(2.0), np.random.default_rng(seed))
        starts.append(room.flaws[0].start_mm)
    # three quarters of the slack lies in the second: binomial, 200 draws, five standard deviations
    assert abs(np.mean(np.array(starts) > 150) - 0.75) < 5 * np.sqrt(0.75 * 0.25 / 200)
