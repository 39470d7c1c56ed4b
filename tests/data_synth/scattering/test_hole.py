import numpy as np
import pytest

from seamtell.data_synth.flaws import Hole
from seamtell.data_synth.head import Head, Joint
from seamtell.data_synth.line_scan import flaw_echo_pct
from seamtell.data_synth.scattering.hole import hole_transition
from seamtell.features.contracts import Channel, Side

HEAD, JOINT = Head(), Joint(1.5, 1.3)


@pytest.mark.parametrize(
    ("channel", "expected"),
    [
        (Channel.SPECULAR, [7.313 - 5.119j, 10.086 - 16.684j, 7.313 - 5.119j]),
        (Channel.SCATTER, [7.316 + 10.114j, -10.119 + 18.968j, -5.593 - 8.052j]),
    ],
)
def test_echo_of_a_hole_meets_the_independent_prototype(channel: Channel, expected: list[complex]) -> None:
    got = flaw_echo_pct(Hole(0.0, 1.2), JOINT, HEAD, channel, np.array([-5.0, 0.0, 5.0]))
    assert np.abs(got - expected).max() < 2e-3


def test_echo_of_a_small_hole_grows_with_its_area() -> None:
    at = np.array([0.0])
    small, double = (flaw_echo_pct(Hole(0.0, d), JOINT, HEAD, Channel.SCATTER, at) for d in (0.05, 0.1))
    assert abs(double[0] / small[0]) == pytest.approx(4.0, rel=0.01)


def test_pore_as_deep_as_the_joint_is_a_hole() -> None:
    through = hole_transition(Hole(0.0, 0.8), JOINT, HEAD)
    assert hole_transition(Hole(0.0, 0.8, Side.TOP, 1.4), JOINT, HEAD) == pytest.approx(through)


@pytest.mark.parametrize("side", [Side.TOP, Side.BOTTOM])
def test_blind_pore_echoes_less_than_a_hole_and_more_the_deeper_it_is(side: Side) -> None:
    at = np.array([0.0])
    depths = (0.35, 0.7, 1.05)
    echoes = [
        abs(flaw_echo_pct(Hole(0.0, 0.8, side, d), JOINT, HEAD, Channel.SCATTER, at)[0]) for d in depths
    ]
    through = abs(flaw_echo_pct(Hole(0.0, 0.8), JOINT, HEAD, Channel.SCATTER, at)[0])
    assert 0 < echoes[0] < echoes[1] < echoes[2] < through
