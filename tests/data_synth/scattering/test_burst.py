import numpy as np
import pytest
from scipy.signal import hilbert

from seamtell.data_synth.flaws import Hole, Slot
from seamtell.data_synth.head import Head, Joint
from seamtell.data_synth.line_scan import BURST_FREQUENCIES, line_scan
from seamtell.data_synth.scattering.burst import (
    burst_frequencies_mhz,
    burst_reading,
    free_edge_envelope,
    hann_spectrum,
)
from seamtell.features.contracts import Channel, Side
from seamtell.features.errors import SeamtellError

HEAD, JOINT = Head(), Joint(1.5, 1.3)
AT = np.arange(-20.0, 20.5, 0.5)


def travel(head: Head, channel: Channel, delay_us: float):  # type: ignore[no-untyped-def]
    """Echo of a mirror whose answer comes `delay_us` after the arrival along the axis."""
    path = 2 * head.stand_off_mm / np.cos(head.tilt_rad(channel))
    late = path / head.material.c_shear_mm_per_us + delay_us
    return np.exp(2j * np.pi * burst_frequencies_mhz(head, 15) * late)[:, None]


def test_spectrum_is_that_of_a_hann_burst_by_fft() -> None:
    step, cycles, centre = 0.01, 4.5, 0.6
    time = np.arange(-100, 100, step)
    length = cycles / centre
    window = np.where(np.abs(time) < length / 2, 0.5 + 0.5 * np.cos(2 * np.pi * time / length), 0)
    asked = np.array([0.4, 0.5, 0.55, 0.6, 0.7, 0.85])
    direct = np.array([np.sum(window * np.exp(2j * np.pi * (f - centre) * time)) * step for f in asked])
    assert hann_spectrum(asked, centre, cycles) * length / 2 == pytest.approx(np.abs(direct), abs=2e-3)


@pytest.mark.parametrize("channel", list(Channel))
def test_echo_within_the_gate_is_read_in_full(channel: Channel) -> None:
    echo = travel(HEAD, channel, 1.25)
    assert abs(burst_reading(HEAD, channel, 15).largest(echo)[0]) == pytest.approx(1.0, abs=0.01)


def test_echo_after_the_gate_is_read_from_the_side_of_its_envelope() -> None:
    # Hann window 2 us beside its middle: cos^2(pi 2 / 7.5); the band is cut at the main lobe.
    echo = travel(HEAD, Channel.SPECULAR, 6.0)
    expected = np.cos(np.pi * 2 / 7.5) ** 2
    assert abs(burst_reading(HEAD, Channel.SPECULAR, 15).largest(echo)[0]) == pytest.approx(
        expected, abs=0.03
    )


def test_reading_meets_a_time_signal_and_its_hilbert_envelope() -> None:
    # Independent: two delayed bursts in time, real signal, analytic signal by SciPy, largest in the gate.
    delays, sizes = (0.3, 2.6), (1.0, 0.7)
    echo = sum(a * travel(HEAD, Channel.SPECULAR, d) for a, d in zip(sizes, delays, strict=True))
    time = np.arange(-40, 40, 0.01)
    length = HEAD.burst_cycles / HEAD.frequency_mhz
    # the head's constant phase on the axis differs between the two frames only by a common factor
    signal = np.zeros_like(time)
    for a, d in zip(sizes, delays, strict=True):
        late = time - d
        window = np.where(np.abs(late) < length / 2, 0.5 + 0.5 * np.cos(2 * np.pi * late / length), 0)
        signal += a * window * np.cos(2 * np.pi * HEAD.frequency_mhz * late)
    gate = (time >= HEAD.gate_us[0]) & (time <= HEAD.gate_us[1])
    expected = np.abs(hilbert(signal))[gate].max()
    assert abs(burst_reading(HEAD, Channel.SPECULAR, 15).largest(echo)[0]) == pytest.approx(
        expected, rel=0.02
    )


@pytest.mark.parametrize("flaw", [Hole(0.0, 1.0), Slot.even(0.0, 5.0, 0.63, 0.3, Side.TOP)], ids=repr)
def test_few_frequencies_stand_for_many(flaw) -> None:  # type: ignore[no-untyped-def]
    few, many = (line_scan([flaw], JOINT, HEAD, AT, frequencies=n) for n in (BURST_FREQUENCIES, 13))
    for channel in Channel:
        ours, theirs = few.amplitude_pct(channel), many.amplitude_pct(channel)
        assert np.abs(ours - theirs).max() < 0.006 * theirs.max()


def test_long_burst_is_the_centre_frequency() -> None:
    long = Head(burst_cycles=400.0)
    burst = line_scan([Hole(0.0, 1.0)], JOINT, long, AT, frequencies=5)
    centre = line_scan([Hole(0.0, 1.0)], JOINT, long, AT)
    for channel in Channel:
        assert burst.amplitude_pct(channel) == pytest.approx(
            centre.amplitude_pct(channel), rel=3e-3, abs=0.01
        )


def test_burst_too_short_for_a_band_is_refused() -> None:
    with pytest.raises(SeamtellError, match=r"burst of 2 cycles, expected more than 2\.5"):
        line_scan([], JOINT, Head(burst_cycles=2.0), AT, frequencies=7)


def test_free_edge_loses_next_to_nothing_to_the_gate() -> None:
    # The untilted beam on a straight edge comes back as it went, with the envelope of its centre frequency.
    assert free_edge_envelope(HEAD, 7) == pytest.approx(16.05, rel=0.01)
