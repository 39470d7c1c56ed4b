"""Measure how many flawed seams a second the theory scans on one core.

``python benchmarks/theory_speed.py [N]`` scans N flaws (200 if not given) of every class as an engineer
expects them, each in 100 mm of seam at every 0.5 mm, both channels: at the centre frequency and over the
burst. It also says how far the two are apart. Tables of joint and head are made beforehand, as
in a long run; their time is printed.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Sequence

import numpy as np

from seamtell.data_synth.expected_flaws import draw_expected_flaw
from seamtell.data_synth.flaws import FlawGeometry, Hole, Slot
from seamtell.data_synth.head import Head, Joint
from seamtell.data_synth.line_scan import BURST_FREQUENCIES, LineScan, line_scan
from seamtell.features.contracts import Channel, Flaw, Side

HEAD, JOINT = Head(), Joint(1.5, 1.3)
POSITIONS_MM = np.arange(-50.0, 50.25, 0.5)
CLASSES = (Flaw.PINHOLE, Flaw.EDGE_NOTCH, Flaw.LACK_OF_FUSION, Flaw.MISMATCH)


def scan_all(flaws: Sequence[tuple[FlawGeometry, ...]], frequencies: int) -> tuple[list[LineScan], float]:
    """Scan every flaw; scans and seconds."""
    start = time.process_time()
    scans = [line_scan(flaw, JOINT, HEAD, POSITIONS_MM, frequencies=frequencies) for flaw in flaws]
    return scans, time.process_time() - start


def warm_up(frequencies: int) -> float:
    """Build the tables that all flaws share; seconds."""
    lengths = (3.0, 8.0, 20.0)
    slots = [Slot.even(0, length, 0.5, 0.2, side) for length in lengths for side in (Side.TOP, Side.BOTTOM)]
    rng = np.random.default_rng(0)
    mismatch = draw_expected_flaw(Flaw.MISMATCH, JOINT, rng).geometry
    return scan_all([(Hole(0, 0.5),), *((slot,) for slot in slots), mismatch], frequencies)[1]


def burst_against_centre(name: str, centre: list[LineScan], burst: list[LineScan]) -> str:
    """How far peaks at the centre frequency are from those of the burst, dB, by channel."""
    cells = []
    for channel in Channel:
        peaks = np.array([[scan.amplitude_pct(channel).max() for scan in scans] for scans in (centre, burst)])
        seen = peaks[1] > 0.5
        apart = 20 * np.log10(peaks[0, seen] / peaks[1, seen])
        low, middle, high = np.percentile(apart, [5, 50, 95])
        cells.append(
            f"{channel.value} {middle:+.2f} dB [{low:+.2f}, {high:+.2f}], worst {np.abs(apart).max():.2f}"
        )
    return f"{name}: centre frequency over burst: " + "; ".join(cells)


def main() -> None:
    """Print rates and differences by class."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    print(f"tables: {warm_up(1):.1f} s centre frequency, {warm_up(BURST_FREQUENCIES):.1f} s burst")
    rng = np.random.default_rng(1)
    seconds = np.zeros(2)
    for label in CLASSES:
        flaws = [draw_expected_flaw(label, JOINT, rng).geometry for _ in range(count // len(CLASSES))]
        centre, fast = scan_all(flaws, 1)
        burst, slow = scan_all(flaws, BURST_FREQUENCIES)
        seconds += (fast, slow)
        print(f"{label.value}: {len(flaws) / fast:.0f} flaws/s, burst {len(flaws) / slow:.0f} flaws/s")
        print("  " + burst_against_centre(label.value, centre, burst))
    fast, slow = count / seconds
    print(
        f"all: {fast:.0f} flaws/s, burst {slow:.0f} flaws/s; 100,000 on two cores in "
        f"{100_000 / fast / 2 / 60:.1f} min, burst {100_000 / slow / 2 / 60:.1f} min"
    )


if __name__ == "__main__":
    main()
