import numpy as np
import pytest
from scipy.signal import find_peaks

from seamtell.data_synth.flaws import Hole, Slot
from seamtell.data_synth.head import Head, Joint
from seamtell.data_synth.line_scan import flaw_echo_pct, line_scan
from seamtell.data_synth.nuisances import Nuisances
from seamtell.data_synth.recording import record
from seamtell.features.contracts import Channel, Side

HEAD, JOINT = Head(), Joint(1.5, 1.3)
HOLES = (Hole(20.0, 0.5), Hole(78.0, 0.5))
NOTCHES = (Slot.even(49.0, 5.0, 0.63, 0.3, Side.TOP), Slot.even(107.0, 5.0, 0.63, 0.3, Side.BOTTOM))


def test_oblique_channel_of_a_uniform_seam_is_near_zero_and_specular_is_level() -> None:
    scan = line_scan((), JOINT, HEAD, np.arange(0.0, 300.0, 0.5))
    assert scan.amplitude_pct(Channel.SCATTER).max() < 0.01
    assert np.ptp(scan.amplitude_pct(Channel.SPECULAR)) < 1e-9


def test_echoes_add_as_complex_numbers() -> None:
    at = np.arange(-20.0, 20.0, 0.5)
    hole = Hole(0.0, 0.4)
    scan = line_scan([hole], JOINT, HEAD, at)
    alone = flaw_echo_pct(hole, JOINT, HEAD, Channel.SPECULAR, at)
    level = line_scan((), JOINT, HEAD, at).specular
    # the scan is read between lattice points, the echo alone is worked out at each position
    assert np.abs(scan.specular - level - alone).max() < 1e-3 * np.abs(alone).max()
    # so that a small hole raises the level by far less than its own echo
    assert scan.amplitude_pct(Channel.SPECULAR).max() - abs(level[0]) < 0.5 * np.abs(alone).max()


def test_mirrored_flaw_gives_the_mirrored_specular_scan() -> None:
    at = np.arange(-30.0, 30.25, 0.25)
    points = ((-6.0, 0.3), (6.0, 1.1))
    turned = ((-6.0, 1.1), (6.0, 0.3))
    one = line_scan([Slot(0.0, points, 0.1)], JOINT, HEAD, at).amplitude_pct(Channel.SPECULAR)
    other = line_scan([Slot(0.0, turned, 0.1)], JOINT, HEAD, at).amplitude_pct(Channel.SPECULAR)
    assert np.abs(one - other[::-1]).max() < 1e-3 * one.max()


@pytest.mark.parametrize("seed", range(4))
def test_standard_seam_of_128_mm_shows_all_four_flaws_on_scatter(seed: int) -> None:
    # Common practice: two 0.5 mm holes and a 5 mm notch on each face; specular level 7-8 %, scatter 0-1 %.
    trace = record(
        (*HOLES, *NOTCHES),
        JOINT,
        HEAD,
        Nuisances(run_in_out=None),
        np.random.SeedSequence(seed),
        n_samples=257,
        pitch_mm=0.5,
        gain_db={Channel.SPECULAR: 0.8, Channel.SCATTER: 0.0},
    )
    at = 0.5 * np.arange(257)
    sound = np.min([np.abs(at - x) for x in (20, 49, 78, 107)], axis=0) > 12
    assert 7 < np.median(trace["specular"][sound]) < 8
    assert np.median(trace["scatter"][sound]) < 1
    peaks, _ = find_peaks(trace["scatter"], height=2.5, distance=20)
    assert len(peaks) == 4
    assert np.abs(at[peaks] - [20, 49, 78, 107]).max() < 5
