import numpy as np
import pytest

from seamtell.data_synth.flaws import Slot
from seamtell.data_synth.head import Head, Joint
from seamtell.data_synth.line_scan import flaw_echo_pct, line_scan
from seamtell.data_synth.scattering import slot as slot_module
from seamtell.data_synth.scattering.line_spring import HAT_LOSS
from seamtell.data_synth.scattering.slot import TIP_EXTENSION_MM, slot_hats
from seamtell.features.contracts import Channel, Side
from seamtell.features.errors import SeamtellError

HEAD, JOINT = Head(), Joint(1.5, 1.3)


@pytest.mark.parametrize(
    ("channel", "expected"),
    [
        (Channel.SPECULAR, [6.483 - 8.341j, 7.609 - 20.078j, 6.483 - 8.341j]),
        (Channel.SCATTER, [2.666 - 1.077j, -3.183 + 6.746j, -1.115 - 6.658j]),
    ],
)
def test_notch_meets_the_independent_prototype(channel: Channel, expected: list[complex]) -> None:
    # Its hats are half as fine and lose a ninth of a spacing at each end: 3 % of the scatter's peak.
    notch = Slot.even(0.0, 5.0, 0.63, 0.3, Side.TOP)
    got = flaw_echo_pct(notch, JOINT, HEAD, channel, np.array([-5.0, 0.0, 5.0]))
    assert np.abs(got - expected).max() < 0.035 * np.abs(expected).max()


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


@pytest.mark.parametrize(
    ("channel", "expected"),
    [
        (Channel.SPECULAR, [21.445 - 16.801j, 47.162 - 32.300j, 21.445 - 16.801j]),
        (Channel.SCATTER, [-3.979 - 3.364j, 0.223 - 0.133j, 7.691 + 3.994j]),
    ],
)
def test_long_lack_of_fusion_meets_the_independent_prototype(
    channel: Channel, expected: list[complex]
) -> None:
    slot = Slot.even(0.0, 34.0, 0.84, 0.1, Side.BOTTOM)
    got = flaw_echo_pct(slot, JOINT, HEAD, channel, np.array([-17.0, 0.0, 17.0]))
    assert np.abs(got - expected).max() < 0.07 * np.abs(expected).max()
    assert np.abs(np.abs(got) - np.abs(expected)).max() < 0.03 * np.abs(expected).max()


@pytest.mark.parametrize("channel", list(Channel))
def test_finer_hats_change_little(channel: Channel, monkeypatch: pytest.MonkeyPatch) -> None:
    at = np.arange(-12.0, 12.5, 1.0)
    slot = Slot.even(0.0, 2.5, 0.91, 0.3, Side.BOTTOM)
    usual = flaw_echo_pct(slot, JOINT, HEAD, channel, at)
    monkeypatch.setattr(slot_module, "_FINEST_MM", 0.04)
    slot_module._factored_springs.cache_clear()
    fine = flaw_echo_pct(slot, JOINT, HEAD, channel, at)
    slot_module._factored_springs.cache_clear()
    assert 1e-6 < np.abs(usual - fine).max() / np.abs(fine).max() < 0.004


@pytest.mark.parametrize("tip_mm", [0.1, 0.3])
@pytest.mark.parametrize(
    "slot",
    [
        Slot.even(0.0, 4.0, 0.35, 0.3, Side.TOP),
        Slot.even(0.0, 2.5, 0.91, 0.3, Side.BOTTOM),
        Slot.even(0.0, 34.0, 0.84, 0.1, Side.BOTTOM),
    ],
    ids=["shallow", "short", "long"],
)
def test_half_or_three_halves_of_the_tip_extension_stay_within_the_stated_bound(
    slot: Slot, tip_mm: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    at = np.arange(-30.0, 30.5, 0.5)
    usual = line_scan([slot], JOINT, HEAD, at)
    monkeypatch.setattr(slot_module, "TIP_EXTENSION_MM", tip_mm)
    slot_module._factored_springs.cache_clear()
    other = line_scan([slot], JOINT, HEAD, at)
    slot_module._factored_springs.cache_clear()
    for channel in Channel:
        change = 20 * np.log10(other.amplitude_pct(channel).max() / usual.amplitude_pct(channel).max())
        assert abs(change) < 0.7


def test_depth_that_comes_and_goes_is_finite_and_weaker_than_the_even_slot() -> None:
    at = np.arange(-20.0, 20.5, 0.5)
    lens = Slot(0.0, ((-6.0, 0.0), (0.0, 0.8), (6.0, 0.0)), 0.1)
    even = Slot.even(0.0, 12.0, 0.8, 0.1, Side.BOTTOM)
    found = np.abs(flaw_echo_pct(lens, JOINT, HEAD, Channel.SPECULAR, at))
    assert np.isfinite(found).all()
    assert 0 < found.max() < np.abs(flaw_echo_pct(even, JOINT, HEAD, Channel.SPECULAR, at)).max()


def test_middle_of_a_300_mm_slot_reads_as_that_of_a_60_mm_slot() -> None:
    long, shorter = (Slot.even(0.0, n, 0.84, 0.1, Side.BOTTOM) for n in (300.0, 60.0))
    found = [
        flaw_echo_pct(slot, JOINT, HEAD, Channel.SPECULAR, np.array([0.0]))[0] for slot in (long, shorter)
    ]
    assert found[0] == pytest.approx(found[1], rel=0.02)


def test_slot_longer_than_the_table_is_refused() -> None:
    with pytest.raises(SeamtellError, match="slot of 400 mm, expected at most 320 mm"):
        flaw_echo_pct(Slot.even(0, 400, 0.5, 0.1, Side.TOP), JOINT, HEAD, Channel.SPECULAR, np.array([0.0]))


def test_hats_span_the_slot_its_tips_and_what_hats_lose() -> None:
    offsets, spacing = slot_hats(Slot.even(0.0, 8.0, 0.5, 0.1, Side.TOP))
    assert offsets[-1] + spacing == pytest.approx(4.0 + TIP_EXTENSION_MM + HAT_LOSS * spacing)
    assert offsets[0] == -offsets[-1]
