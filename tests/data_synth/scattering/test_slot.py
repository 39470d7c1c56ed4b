import numpy as np
import pytest
from scipy.integrate import quad

from seamtell.data_synth.flaws import Slot
from seamtell.data_synth.head import Head, Joint
from seamtell.data_synth.line_scan import flaw_echo_pct, line_scan
from seamtell.data_synth.scattering.slot import compliance_mm, removed_mass_reflection
from seamtell.features.contracts import Channel, Side
from seamtell.features.errors import SeamtellError

HEAD, JOINT = Head(), Joint(1.5, 1.3)


@pytest.mark.parametrize("depth_mm", [0.1, 0.5, 1.0, 1.3])
def test_crack_compliance_is_the_integral_of_the_handbook_stress_intensity(depth_mm: float) -> None:
    # Tada, Paris, Irwin, Stress Analysis of Cracks Handbook (from memory): edge crack in a strip under
    # anti-plane shear, K = sigma sqrt(2 h tan(pi d / 2h)); energy release gives c' = K^2 / (sigma^2 h).
    h = 1.4
    exact, _ = quad(lambda d: 2 * np.tan(np.pi * d / (2 * h)), 0, depth_mm)
    assert compliance_mm(depth_mm, 1e-12, h) == pytest.approx(exact, rel=1e-9)


@pytest.mark.parametrize(("depth_mm", "width_mm", "expected"), [(0.63, 0.3, 0.7337), (0.84, 0.1, 1.0972)])
def test_compliance_meets_the_independent_prototype(
    depth_mm: float, width_mm: float, expected: float
) -> None:
    assert compliance_mm(depth_mm, width_mm, 1.4) == pytest.approx(expected, abs=1e-3)


def test_slot_through_the_sheet_gives_without_end() -> None:
    assert compliance_mm(1.4, 0.1, 1.4) == float("inf")


def test_removed_mass_reflects_no_more_than_everything() -> None:
    assert abs(removed_mass_reflection(1.4, 100.0, 1.4, 1.167)) <= 1


@pytest.mark.parametrize(
    ("channel", "expected"),
    [
        (Channel.SPECULAR, [6.483 - 8.341j, 7.609 - 20.078j, 6.483 - 8.341j]),
        (Channel.SCATTER, [2.666 - 1.077j, -3.183 + 6.746j, -1.115 - 6.658j]),
    ],
)
def test_notch_is_near_the_mode_matching_prototype(channel: Channel, expected: list[complex]) -> None:
    # The prototype takes its local strength from mode matching; the closed form stays within 5 % of its peak.
    notch = Slot.even(0.0, 5.0, 0.63, 0.3, Side.TOP)
    got = flaw_echo_pct(notch, JOINT, HEAD, channel, np.array([-5.0, 0.0, 5.0]))
    assert np.abs(got - expected).max() < 0.05 * np.abs(expected).max()


def test_long_through_slot_reflects_like_the_free_edge() -> None:
    # In the middle of a slot through the sheet, far longer than the beam, the beam meets a free edge;
    # the thickness change leaves 2 h_B / (h_A + h_B) of the closed-form echo and the sound seam's part.
    even = Joint(1.4, 1.4)
    scan = line_scan([Slot.even(0.0, 80.0, 1.4, 0.05, Side.BOTTOM)], even, HEAD, np.array([0.0]))
    assert scan.amplitude_pct(Channel.SPECULAR)[0] == pytest.approx(100.0, rel=0.03)


def test_end_that_the_tilted_beam_looks_away_from_answers_more_strongly() -> None:
    # Half-plane edge diffraction: of two equal ends the far one is two to three times stronger.
    at = np.arange(-40.0, 40.0, 0.5)
    slot = Slot.even(0.0, 34.0, 0.84, 0.1, Side.BOTTOM)
    echo = np.abs(flaw_echo_pct(slot, JOINT, HEAD, Channel.SCATTER, at))
    assert 1.5 < echo[at > 0].max() / echo[at < 0].max() < 3


def test_slot_longer_than_the_table_is_refused() -> None:
    with pytest.raises(SeamtellError, match="slot of 200 mm, expected at most 84 mm"):
        flaw_echo_pct(Slot.even(0, 200, 0.5, 0.1, Side.TOP), JOINT, HEAD, Channel.SPECULAR, np.array([0.0]))
