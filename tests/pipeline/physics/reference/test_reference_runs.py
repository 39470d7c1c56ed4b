from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from seamtell.features.contracts import SeamTrace
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.physics.reference_runs import read_runs
from seamtell.pipeline.store.seam_store import SeamStore


@pytest.fixture(scope="module")
def run(lab, physics_and_blank) -> SeamTrace:
    return lab.run(physics_and_blank[1], 1)


def read(workspace, paths, blank, line="L1", profile=None):
    return read_runs(workspace, paths, profile, blank, line)


def test_runs_are_read_by_time_without_limits_and_leave_the_store_alone(
    lab, physics_and_blank, workspace, run, tmp_path
):
    later = replace(run, seam_id="A-later", welded_at=run.welded_at.replace(year=2027))
    for one in (later, run):
        lab.write_run(tmp_path / "runs", one)
    found = read(workspace, [tmp_path / "runs"], physics_and_blank[1])
    assert [one.seam_id for one in found] == ["REF-1", "A-later"]
    assert np.allclose(found[0].amplitudes_pct["scatter"], run.amplitudes_pct["scatter"], atol=6e-4)
    assert len(SeamStore(workspace.traces_dir)) == 0


def test_a_run_of_another_line_is_refused(lab, physics_and_blank, workspace, run, tmp_path):
    path = lab.write_run(tmp_path, run, line="L2")
    with pytest.raises(BadInput, match="run 'REF-1' is of line 'L2', expected 'L1'"):
        read(workspace, [path], physics_and_blank[1])


def test_a_run_over_other_sheets_is_refused(lab, physics_and_blank, workspace, run, tmp_path):
    path = lab.write_run(tmp_path, run, sheet_a_mm=1.8)
    with pytest.raises(BadInput, match=r"sheet A is 1\.8 mm, the blank says 1\.5 mm"):
        read(workspace, [path], physics_and_blank[1])


def test_a_run_shorter_than_the_blank_is_refused(lab, physics_and_blank, workspace, run, tmp_path):
    short = {name: values[:300] for name, values in run.amplitudes_pct.items()}
    path = lab.write_run(tmp_path, replace(run, amplitudes_pct=short))
    with pytest.raises(BadInput, match=r"run 'REF-1' is 149\.5 mm long, the blank 180 mm"):
        read(workspace, [path], physics_and_blank[1])


def test_one_run_in_two_files_does_not_count_twice(lab, physics_and_blank, workspace, run, tmp_path):
    for folder in ("a", "b"):
        lab.write_run(tmp_path / folder, run)
    with pytest.raises(BadInput, match="run 'REF-1' is there twice"):
        read(workspace, [tmp_path / "a", tmp_path / "b"], physics_and_blank[1])


def test_a_file_that_cannot_be_read_says_where_and_with_which_profile(
    lab, physics_and_blank, workspace, run, tmp_path
):
    path = lab.write_run(tmp_path, run)
    path.write_text(path.read_text().replace("position_mm,", "place,"))
    with pytest.raises(BadInput, match=r"REF-1\.csv.*missing_column.*input profile 'default'.*--profile"):
        read(workspace, [path], physics_and_blank[1])


def test_a_path_that_is_not_there_is_named(physics_and_blank, workspace, tmp_path):
    with pytest.raises(BadInput, match="no such file or folder"):
        read(workspace, [tmp_path / "nowhere"], physics_and_blank[1])
