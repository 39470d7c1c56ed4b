from __future__ import annotations

import time
from dataclasses import replace

import numpy as np
import pytest

from seamtell.data_synth import echo_library
from seamtell.data_synth.echo_designs import designed_flaws
from seamtell.data_synth.echo_library import (
    GRID_MM,
    EchoLibrary,
    echo_on_grid,
    library_digest,
    library_from_bytes,
    library_to_bytes,
    reach_mm,
    two_way_beam_mm,
)
from seamtell.data_synth.expected_ranges import FlawRanges, PinholeRange
from seamtell.data_synth.flaws import Hole
from seamtell.data_synth.head import Head, Joint
from seamtell.data_synth.line_scan import line_scan
from seamtell.data_synth.simulated_flaw import EchoCause, SimulatedFlaw
from seamtell.features.contracts import Side
from seamtell.features.errors import SeamtellError

HEAD, JOINT = Head(), Joint(1.5, 1.3)
RANGES = FlawRanges(edge_notch=None, lack_of_fusion=None, mismatch=None)
DIGEST = library_digest(JOINT, HEAD, RANGES)


@pytest.fixture(scope="module")
def small() -> EchoLibrary:
    """Through holes and gain changes only."""
    designed = designed_flaws(JOINT, RANGES)
    wanted = [d.flaw.gap_mm == 0 and d.flaw.side in (Side.THROUGH, Side.NA) for d in designed]
    echoes = [
        echo_on_grid(d.flaw, JOINT, HEAD) if keep else None for d, keep in zip(designed, wanted, strict=True)
    ]
    table = EchoLibrary.of(JOINT, HEAD, designed, echoes)
    return replace(table, novelty_misfits=np.array([0.5, 2.0]), novelty_extents_mm=np.array([9.0, 30.0]))


def test_an_echo_is_what_the_flaw_adds_to_the_sound_seam():
    specular, scatter = echo_on_grid(
        SimulatedFlaw(EchoCause.PINHOLE, diameter_mm=1.2, side=Side.THROUGH), JOINT, HEAD
    )
    half = len(specular) // 2
    at = GRID_MM * np.arange(-half, half + 1)
    scan = line_scan((Hole(0.0, 1.2),), JOINT, HEAD, at)
    sound = line_scan((), JOINT, HEAD, at)
    assert np.abs(specular + sound.specular - scan.specular).max() < 1e-9
    assert np.abs(scatter - scan.scatter).max() < 1e-9


def test_what_is_cut_off_at_the_ends_of_an_echo_is_below_a_hundredth_of_its_peak():
    specular, scatter = echo_on_grid(
        SimulatedFlaw(EchoCause.LACK_OF_FUSION, length_mm=12, depth_mm=1.0, width_mm=0.1), JOINT, HEAD
    )
    for echo in (specular, scatter):
        assert max(abs(echo[0]), abs(echo[-1])) < 0.01 * np.abs(echo).max()


def test_beam_width_is_that_of_the_full_wave_scans():
    # ORIGIN.md of the full-wave scans: two-way beam at the seam 9.4 mm full width at half maximum.
    assert two_way_beam_mm(HEAD) == pytest.approx(9.4, abs=0.1)
    assert reach_mm(HEAD) > 1.7 * two_way_beam_mm(HEAD)


def test_a_table_comes_back_as_it_was_written(small):
    back = library_from_bytes(library_to_bytes(small, DIGEST), DIGEST, JOINT, HEAD, RANGES)
    assert back.designed == small.designed
    for name in ("starts", "specular", "scatter", "novelty_misfits", "novelty_extents_mm", "kept"):
        assert np.array_equal(getattr(back, name), getattr(small, name)), name
    assert back.left_out == len(designed_flaws(JOINT, RANGES)) - len(small.designed)


def test_same_flaws_give_same_bytes(small):
    assert library_to_bytes(small, DIGEST) == library_to_bytes(small, DIGEST)


def test_a_large_table_is_read_in_a_moment(library, monkeypatch):
    data = library_to_bytes(library, DIGEST)
    monkeypatch.setattr(
        echo_library, "designed_flaws", lambda joint, ranges: (library.designed[0],) * len(library.kept)
    )
    began = time.process_time()
    library_from_bytes(data, DIGEST, JOINT, HEAD, RANGES)
    assert time.process_time() - began < 0.2


@pytest.mark.parametrize("damage", ["cut", "empty", "text", "flipped"])
def test_a_damaged_table_is_refused(small, damage):
    data = bytearray(library_to_bytes(small, DIGEST))
    if damage == "flipped":
        data[len(data) // 2] ^= 0xFF
    else:
        data = {"cut": data[: len(data) // 3], "empty": bytearray(), "text": bytearray(b"no table")}[damage]
    with pytest.raises(SeamtellError, match="damaged table of echoes"):
        library_from_bytes(bytes(data), DIGEST, JOINT, HEAD, RANGES)


def test_a_table_of_other_ranges_is_refused(small):
    other = FlawRanges(pinhole=PinholeRange(diameter_mm=(0.3, 2.0)))
    with pytest.raises(SeamtellError, match="its digest does not match"):
        library_from_bytes(
            library_to_bytes(small, DIGEST), library_digest(JOINT, HEAD, other), JOINT, HEAD, other
        )


@pytest.mark.parametrize(
    ("joint", "head", "ranges"),
    [
        (Joint(1.5, 1.2), HEAD, RANGES),
        (Joint(1.5, 1.3, 0.7), HEAD, RANGES),
        (JOINT, replace(HEAD, aperture_sd_mm=5.0), RANGES),
        (JOINT, HEAD, FlawRanges(pinhole=PinholeRange(diameter_mm=(0.3, 2.0)))),
    ],
)
def test_whatever_changes_an_echo_changes_the_digest(joint, head, ranges):
    assert library_digest(joint, head, ranges) != DIGEST


def test_another_theory_changes_the_digest(monkeypatch):
    monkeypatch.setattr(echo_library, "THEORY_VERSION", "another")
    assert library_digest(JOINT, HEAD, RANGES) != DIGEST


def test_a_joint_on_which_nothing_can_be_simulated_is_refused():
    designed = designed_flaws(JOINT, RANGES)
    with pytest.raises(SeamtellError, match="answers for none of the expected flaws"):
        EchoLibrary.of(JOINT, HEAD, designed, [None] * len(designed))
