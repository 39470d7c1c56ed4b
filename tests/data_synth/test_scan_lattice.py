import numpy as np
import pytest

from seamtell.data_synth.flaws import Hole, Mismatch, Slot
from seamtell.data_synth.head import Head, Joint
from seamtell.data_synth.line_scan import flaw_echo_pct, line_scan
from seamtell.features.contracts import Channel, Side

JOINT = Joint(1.5, 1.3)
HEADS = (Head(), Head(frequency_mhz=0.8, aperture_sd_mm=3.0, stand_off_mm=20.0, scatter_tilt_sin=0.5))
FLAWS = (Hole(0.1, 0.8), Slot.even(0.3, 6.0, 0.84, 0.1, Side.BOTTOM), Mismatch(0.0, 0.3, 20.0))


@pytest.mark.parametrize("head", HEADS, ids=["wide", "narrow"])
@pytest.mark.parametrize("flaw", FLAWS, ids=lambda f: type(f).__name__)
def test_uneven_positions_are_read_between_lattice_points_as_if_worked_out_there(flaw, head: Head) -> None:
    # The direct solution, position by position, is the reference.
    rng = np.random.default_rng(2)
    at = np.sort(np.arange(-20.0, 20.0, 0.2) + 0.05 * rng.standard_normal(200))
    with_flaw, sound = line_scan([flaw], JOINT, head, at), line_scan([], JOINT, head, at)
    for channel in Channel:
        direct = flaw_echo_pct(flaw, JOINT, head, channel, at)
        read = getattr(with_flaw, channel.value) - getattr(sound, channel.value)
        assert np.abs(read - direct).max() < 1e-3 * np.abs(direct).max()
