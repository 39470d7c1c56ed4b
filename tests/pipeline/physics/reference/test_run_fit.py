from __future__ import annotations

from math import log10

import numpy as np
import pytest
from scipy.optimize import least_squares

from seamtell.features.contracts import Channel
from seamtell.pipeline.physics.blank_theory import BlankTheory, blank_theory
from seamtell.pipeline.physics.run_fit import fit_run


@pytest.fixture(scope="module")
def theory(physics_and_blank) -> BlankTheory:
    physics, blank = physics_and_blank
    return blank_theory(blank, physics.head_for("L1"))


def test_a_run_without_noise_gives_back_the_truth(lab, physics_and_blank, theory):
    _, blank = physics_and_blank
    run = lab.run(blank, 1, truth=lab.Truth(spread_db=0.0, noise_pct=0.0), offset_mm=0.7)
    found = fit_run(run, blank, theory, blank.flaws)
    assert found.aperture_sd_mm == pytest.approx(4.6, abs=0.02)
    assert found.gain_db[Channel.SPECULAR] == pytest.approx(-1.3, abs=0.03)
    assert found.gain_db[Channel.SCATTER] == pytest.approx(0.8, abs=0.03)
    assert found.offset_mm == pytest.approx(0.7, abs=0.02)
    assert found.settled
    assert not found.reversed
    assert found.misfit < 0.01


def test_a_blank_that_ran_the_other_way_is_recognised(lab, physics_and_blank, theory):
    _, blank = physics_and_blank
    found = fit_run(lab.run(blank, 2, turned=True, offset_mm=-0.5), blank, theory, blank.flaws)
    assert found.reversed
    assert found.offset_mm == pytest.approx(-0.5, abs=0.05)
    assert found.aperture_sd_mm == pytest.approx(4.6, abs=0.08)


def test_projecting_the_gains_out_finds_what_a_search_over_all_four_numbers_finds(
    lab, physics_and_blank, theory
):
    # scipy.optimize.least_squares with both gains as unknowns, on the same samples.
    _, blank = physics_and_blank
    run = lab.run(blank, 3)
    found = fit_run(run, blank, theory, blank.flaws)
    x = run.positions_mm()
    near = np.zeros(len(x), dtype=bool)
    for flaw in blank.flaws:
        first, last = flaw.geometry.extent_mm
        near |= (x >= first - 16.0) & (x <= last + 16.0)

    def left_over(p):
        parts = []
        for gain, channel in zip(p[2:], Channel, strict=True):
            expected = theory.amplitude_pct(channel, p[0], x[near] - p[1])
            parts.append(run.amplitudes_pct[channel.value][near] - gain * expected)
        return np.concatenate(parts)

    solved = least_squares(left_over, [5.0, 0.0, 1.0, 1.0], xtol=1e-12, ftol=1e-12).x
    assert found.aperture_sd_mm == pytest.approx(solved[0], abs=2e-3)
    assert found.offset_mm == pytest.approx(solved[1], abs=2e-3)
    for gain, channel in zip(solved[2:], Channel, strict=True):
        assert found.gain_db[channel] == pytest.approx(20 * log10(gain), abs=5e-3)


def test_a_flaw_that_is_not_there_shows_in_its_own_error(lab, physics_and_blank, theory):
    _, blank = physics_and_blank
    there = [blank.flaws[0].geometry, blank.flaws[1].geometry]
    found = fit_run(lab.run(blank, 4, flaws=there), blank, theory, blank.flaws[:2])
    assert found.flaw_error_db[2][Channel.SCATTER] < -15
    assert all(abs(error) < 1 for flaw in found.flaw_error_db[:2] for error in flaw.values())
