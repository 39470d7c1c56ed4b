from __future__ import annotations

from dataclasses import replace
from math import log, sqrt

import numpy as np
import pytest

from seamtell.data_synth.head import Head
from seamtell.data_synth.line_scan import line_scan
from seamtell.features.contracts import Channel
from seamtell.pipeline.physics.blank_theory import beam_width_mm, blank_theory


def test_the_table_reads_what_the_scan_says_between_its_apertures_and_positions(physics_and_blank):
    physics, blank = physics_and_blank
    head = physics.head_for("L1")
    theory = blank_theory(blank, head)
    x = np.arange(20.13, 160.0, 0.71)
    for aperture in (4.31, 5.37):
        scan = line_scan(
            [flaw.geometry for flaw in blank.flaws], blank.joint, replace(head, aperture_sd_mm=aperture), x
        )
        for channel in Channel:
            expected = scan.amplitude_pct(channel)
            off = np.abs(theory.amplitude_pct(channel, aperture, x) - expected).max()
            assert off < 0.004 * expected.max()


@pytest.mark.parametrize(("aperture", "stand_off"), [(5.0, 15.0), (4.0, 12.0), (6.0, 20.0)])
def test_the_width_of_the_beam_is_that_of_a_gaussian_beam(aperture, stand_off):
    # H. Kogelnik and T. Li, Applied Optics 5 (1966), from memory: w = a sqrt(1 + (z / k a²)²);
    # the two-way amplitude exp(-x² / w²) falls to half at w sqrt(ln 2).
    head = Head(0.6, aperture, stand_off, 0.4)
    w = aperture * sqrt(1 + (stand_off / (head.wavenumber_per_mm() * aperture**2)) ** 2)
    assert beam_width_mm(head) == pytest.approx(2 * w * sqrt(log(2)), rel=0.03)
