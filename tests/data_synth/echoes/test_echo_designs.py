from __future__ import annotations

from collections import defaultdict

import pytest

from seamtell.data_synth.echo_designs import designed_flaws
from seamtell.data_synth.expected_ranges import EdgeNotchRange, FlawRanges
from seamtell.data_synth.head import Joint
from seamtell.data_synth.simulated_flaw import EchoCause, Size
from seamtell.features.contracts import Side

JOINT = Joint(1.5, 1.3)
DESIGNED = designed_flaws(JOINT)


def test_a_few_thousand_flaws_of_every_cause():
    assert 2000 < len(DESIGNED) < 8000
    assert {one.flaw.cause for one in DESIGNED} == set(EchoCause)


def test_no_flaw_is_designed_twice():
    assert len({one.flaw for one in DESIGNED}) == len(DESIGNED)


def test_every_flaw_lies_in_its_own_cell():
    for one in DESIGNED:
        for size, (low, high) in one.cells.items():
            assert low - 1e-9 <= one.flaw.sizes[size] <= high + 1e-9, one


@pytest.mark.parametrize(
    ("cause", "size", "ends"),
    [
        (EchoCause.EDGE_NOTCH, Size.LENGTH, (2.0, 10.0)),
        (EchoCause.EDGE_NOTCH, Size.DEPTH, (0.14, 1.12)),
        (EchoCause.LACK_OF_FUSION, Size.LENGTH, (5.0, 80.0)),
        (EchoCause.LACK_OF_FUSION, Size.DEPTH, (0.14, 1.4)),
        (EchoCause.MISMATCH, Size.LENGTH, (10.0, 200.0)),
    ],
)
def test_cells_cover_the_expected_range_without_gaps(cause, size, ends):
    cells = sorted({one.cells[size] for one in DESIGNED if one.flaw.cause is cause})
    assert cells[0][0] == pytest.approx(ends[0])
    reached = cells[0][1]
    for low, high in cells:
        assert low <= reached + 1e-9
        reached = max(reached, high)
    assert reached == pytest.approx(ends[1])


def test_a_class_that_is_not_expected_is_not_designed():
    causes = {one.flaw.cause for one in designed_flaws(JOINT, FlawRanges(mismatch=None, sound=None))}
    assert EchoCause.MISMATCH not in causes
    # What explains an indication without a flaw is always there.
    assert {EchoCause.DROPLET, EchoCause.GAIN_CHANGE} <= causes


def test_narrower_ranges_give_a_finer_design():
    def step(ranges: FlawRanges) -> float:
        found = {
            o.flaw.length_mm for o in designed_flaws(JOINT, ranges) if o.flaw.cause is EchoCause.EDGE_NOTCH
        }
        lengths = sorted(found)
        return lengths[1] - lengths[0]

    assert step(FlawRanges(edge_notch=EdgeNotchRange(length_mm=(2.0, 4.0)))) < step(FlawRanges())


def test_both_faces_both_leans_and_both_shifts_are_there():
    seen = defaultdict(set)
    for one in DESIGNED:
        flaw = one.flaw
        seen[flaw.cause] |= {flaw.side, flaw.lean > 0, flaw.shift_mm > 0}
    assert {Side.TOP, Side.BOTTOM} <= seen[EchoCause.EDGE_NOTCH]
    assert {True, False} <= seen[EchoCause.LACK_OF_FUSION]
    assert {True, False} <= seen[EchoCause.MISMATCH]


def test_every_flaw_has_a_geometry_within_the_joint():
    for one in DESIGNED:
        parts = one.flaw.geometry(JOINT)
        assert bool(parts) == (one.flaw.cause is not EchoCause.GAIN_CHANGE)
        for part in parts:
            depths = [depth for _, depth in getattr(part, "depth_points_mm", ())]
            assert all(0 < depth <= JOINT.mean_mm + 1e-9 for depth in depths)
