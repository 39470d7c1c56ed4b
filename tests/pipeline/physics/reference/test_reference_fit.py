from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import ttest_1samp

from seamtell.features.contracts import Channel
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.physics.blank_theory import beam_width_mm
from seamtell.pipeline.physics.fit_file import fit_path, write_fit
from seamtell.pipeline.physics.physics_file import read_physics
from seamtell.pipeline.physics.reference_fit import fit_reference, fitted_head


@pytest.fixture(scope="module")
def fit(lab, physics_and_blank):
    physics, blank = physics_and_blank
    return fit_reference(physics, blank, [lab.run(blank, n) for n in range(1, 7)], "L1", now=lab.NOW)


def inside(estimate, truth: float) -> bool:
    return estimate.low <= truth <= estimate.high


def test_a_head_that_differs_from_its_data_sheet_is_recovered_within_the_intervals(fit):
    assert inside(fit.gain_db[Channel.SPECULAR], -1.3)
    assert inside(fit.gain_db[Channel.SCATTER], 0.8)
    assert inside(fit.aperture_sd_mm, 4.6)
    assert not inside(fit.aperture_sd_mm, 5.0)
    assert fit.residual_db < 0.5
    assert fit.n_runs == 6


def test_the_width_of_the_beam_is_that_of_the_fitted_aperture(fit, physics_and_blank):
    head = replace(physics_and_blank[0].head_for("L1"), aperture_sd_mm=4.6)
    assert inside(fit.beam_width_mm, beam_width_mm(head))


def test_intervals_are_those_of_students_t_over_the_runs(fit):
    # scipy.stats.ttest_1samp states the same interval of a mean.
    apertures = [run.aperture_sd_mm for run in fit.runs]
    stated = ttest_1samp(apertures, 0.0).confidence_interval(0.95)
    assert fit.aperture_sd_mm.low == pytest.approx(stated.low)
    assert fit.aperture_sd_mm.high == pytest.approx(stated.high)
    assert fit.aperture_sd_mm.value == pytest.approx(np.mean(apertures))


def test_one_run_gives_a_value_and_no_interval(lab, physics_and_blank):
    physics, blank = physics_and_blank
    fit = fit_reference(physics, blank, [lab.run(blank, 1)], "L1", now=lab.NOW)
    assert fit.aperture_sd_mm.low is None
    assert fit.aperture_sd_mm.high is None
    assert fit.n_runs == 1


def test_a_flaw_that_does_not_come_back_is_left_out_and_the_rest_still_gives_the_truth(
    lab, physics_and_blank
):
    physics, blank = physics_and_blank
    there = [blank.flaws[0].geometry, blank.flaws[1].geometry]
    runs = [lab.run(blank, n, flaws=there) for n in (1, 2, 3)]
    fit = fit_reference(physics, blank, runs, "L1", now=lab.NOW)
    assert [flaw.counted for flaw in fit.flaws] == [True, True, False]
    assert fit.flaws[2].is_missing
    assert inside(fit.gain_db[Channel.SCATTER], 0.8)


def test_runs_of_another_blank_do_not_converge_and_the_residual_is_stated(lab, physics_and_blank):
    physics, blank = physics_and_blank
    runs = [lab.run(blank, 1, flaws=[])]
    with pytest.raises(BadInput, match=r"no convergence.*residual \d+\.\d dB"):
        fit_reference(physics, blank, runs, "L1", now=lab.NOW)


def test_a_nominal_aperture_far_off_does_not_converge(lab, tmp_path, physics_and_blank):
    _, blank = physics_and_blank
    (tmp_path / "physics.toml").write_text(
        lab.PHYSICS.replace("aperture_sd_mm = 5.0", "aperture_sd_mm = 3.0")
    )
    run = lab.run(blank, 1, truth=lab.Truth(aperture_sd_mm=7.0))
    with pytest.raises(BadInput, match=r"no convergence for run 'REF-1': aperture 4\.8\d mm, .* left over"):
        fit_reference(read_physics(tmp_path / "physics.toml"), blank, [run], "L1", now=lab.NOW)


def test_a_line_that_was_never_fitted_has_the_head_of_the_file_and_no_gain(workspace):
    physics = read_physics(workspace.physics_path)
    head = fitted_head(workspace, physics, "L1")
    assert head.head == physics.head_for("L1")
    assert head.gain_db == dict.fromkeys(Channel, 0.0)
    assert not head.fitted


def test_a_fitted_line_has_the_fitted_aperture_and_gains_and_other_lines_do_not(fit, workspace):
    write_fit(workspace, fit)
    physics = read_physics(workspace.physics_path)
    head = fitted_head(workspace, physics, "L1")
    assert head.fitted
    assert head.head.aperture_sd_mm == pytest.approx(fit.aperture_sd_mm.value, abs=1e-4)
    assert head.head.stand_off_mm == 15.0
    assert head.gain_db[Channel.SCATTER] == pytest.approx(fit.gain_db[Channel.SCATTER].value, abs=1e-4)
    assert not fitted_head(workspace, physics, "L2").fitted


def test_a_fit_of_another_head_is_refused(fit, workspace):
    write_fit(workspace, fit)
    workspace.physics_path.write_text(workspace.physics_path.read_text().replace("15.0", "16.0"))
    with pytest.raises(BadInput, match=r"the fit of line 'L1' was made with another head of physics\.toml"):
        fitted_head(workspace, read_physics(workspace.physics_path), "L1")


def test_a_fit_of_another_theory_is_refused(fit, workspace):
    write_fit(workspace, replace(fit, theory_version="none such"))
    with pytest.raises(BadInput, match=r"another version of the theory.*seamtell physics fit"):
        fitted_head(workspace, read_physics(workspace.physics_path), "L1")


def test_a_fit_that_was_edited_into_nonsense_is_refused(fit, workspace):
    path = write_fit(workspace, fit)
    path.write_text(path.read_text().replace("n_runs = 6", "n_runs = 0"))
    with pytest.raises(BadInput, match="not a fit as 'seamtell physics fit' writes it: key 'n_runs'"):
        fitted_head(workspace, read_physics(workspace.physics_path), "L1")
    assert path == fit_path(workspace, "L1")
