import pytest

from seamtell.data_synth.flaws import Hole, Mismatch, RoughJoint, Slot, moved
from seamtell.features.contracts import Side
from seamtell.features.errors import SeamtellError


def test_moving_a_flaw_moves_its_extent_and_nothing_else() -> None:
    for flaw in (
        Hole(1.0, 0.5),
        Slot.even(1.0, 5.0, 0.5, 0.1, Side.TOP),
        Mismatch(1.0, 0.2, 20.0),
        RoughJoint(0.0, 0.5, (0.1, 0.2)),
    ):
        shifted = moved(flaw, 7.0)
        assert shifted.extent_mm == pytest.approx(tuple(edge + 7.0 for edge in flaw.extent_mm))
        assert moved(shifted, -7.0) == flaw


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: Hole(0.0, 0.0), "diameter of a hole is 0.0 mm, expected more than zero"),
        (lambda: Hole(0.0, 1.0, Side.TOP), "depth of a blind pore"),
        (lambda: Slot(0.0, ((0.0, 1.0),), 0.1), "two or more, rising"),
        (lambda: Slot.even(0.0, 4.0, 0.0, 0.1, Side.TOP), "depth of a slot"),
        (lambda: Mismatch(0.0, 0.2, 3.0, 4.0), "no longer than the mismatch"),
    ],
)
def test_impossible_geometry_is_refused(make, message: str) -> None:
    with pytest.raises(SeamtellError, match=message):
        make()
