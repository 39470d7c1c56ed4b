from __future__ import annotations

import tomllib
from dataclasses import replace

import pytest

from seamtell.features.contracts import Channel
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.physics.fit_file import (
    Estimate,
    Fit,
    FlawReturn,
    fit_path,
    fitted_lines,
    read_fit,
    write_fit,
)
from seamtell.pipeline.physics.run_fit import RunFit


@pytest.fixture
def fit(lab, physics_and_blank) -> Fit:
    gains = {Channel.SPECULAR: 0.5, Channel.SCATTER: -0.25}
    run = RunFit("REF-1", lab.NOW, 4.8, gains, 0.3, False, (), 0.05, True)
    return Fit(
        line="L1",
        gain_db={channel: Estimate(gain, gain - 1, gain + 1) for channel, gain in gains.items()},
        aperture_sd_mm=Estimate(4.8),
        beam_width_mm=Estimate(9.4),
        residual_db=0.4,
        flaws=(FlawReturn('a "hole"', {Channel.SPECULAR: 0.1, Channel.SCATTER: -12.0}, False),),
        runs=(run,),
        nominal=physics_and_blank[0].head_for("L1"),
        blank_name="blank \\ 1",
        blank_digest="00",
        theory_version="2",
        fitted_at=lab.NOW,
    )


def test_what_is_written_is_toml_and_reads_back(fit, workspace):
    path = write_fit(workspace, fit)
    tomllib.loads(path.read_text(encoding="utf-8"))
    stored = read_fit(workspace, "L1")
    assert stored is not None
    assert stored.gain_db[Channel.SCATTER].value == -0.25
    assert stored.gain_db[Channel.SCATTER].high == 0.75
    assert stored.aperture_sd_mm.low is None
    assert stored.flaw[0].name == 'a "hole"'
    assert stored.blank == "blank \\ 1"
    assert stored.run[0].seam_id == "REF-1"


def test_an_older_fit_is_kept_under_the_next_number(fit, workspace):
    first = write_fit(workspace, fit).read_bytes()
    second = write_fit(workspace, replace(fit, residual_db=0.5)).read_bytes()
    write_fit(workspace, replace(fit, residual_db=0.6))
    folder = fit_path(workspace, "L1").parent
    assert (folder / "L1.0001.toml").read_bytes() == first
    assert (folder / "L1.0002.toml").read_bytes() == second
    assert read_fit(workspace, "L1").residual_db == 0.6
    assert fitted_lines(workspace) == ("L1",)


@pytest.mark.parametrize("line", ["../L1", "L 1/2", "L1.0001", "Ligne été", "..", "a\\b"])
def test_a_line_may_be_called_anything_and_its_fit_stays_in_the_folder(fit, workspace, line):
    path = write_fit(workspace, replace(fit, line=line))
    assert path.parent == workspace.physics_dir / "fits"
    assert read_fit(workspace, line).line == line
    assert fitted_lines(workspace) == (line,)


def test_a_line_without_a_fit_has_none(workspace):
    assert read_fit(workspace, "L1") is None
    assert fitted_lines(workspace) == ()


def test_a_fit_of_a_newer_seamtell_is_refused(fit, workspace):
    path = write_fit(workspace, fit)
    path.write_text(path.read_text().replace("schema_version = 1", "schema_version = 9"))
    with pytest.raises(BadInput, match="schema version 9"):
        read_fit(workspace, "L1")


def test_a_flaw_that_is_gone_in_one_channel_is_missing(fit):
    assert fit.flaws[0].is_missing
    assert fit.flaws[0].worst_db == -12.0
    assert not FlawReturn("x", {Channel.SPECULAR: 5.0, Channel.SCATTER: -4.5}, False).is_missing
