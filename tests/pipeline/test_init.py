from __future__ import annotations

import tomllib

import pytest

from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.ingest.profile_choice import choose_profile
from seamtell.pipeline.init import default_file, init_workspace
from seamtell.pipeline.limits_file import read_limits
from seamtell.pipeline.settings import Settings, read_settings
from seamtell.pipeline.store.seam_store import SeamStore
from seamtell.pipeline.workspace import find_workspace


def test_a_new_workspace_is_complete_and_every_file_of_it_reads(tmp_path):
    made = init_workspace(tmp_path / "new" / "ws")
    found = find_workspace(made.traces_dir)
    assert found == made
    assert read_settings(made.settings_path) == Settings()
    assert read_limits(made.limits_path).recipes == ()
    assert choose_profile(made, None).name == "default"
    assert len(SeamStore(made.traces_dir)) == 0


def test_an_existing_workspace_is_not_overwritten(tmp_path):
    made = init_workspace(tmp_path)
    made.limits_path.write_text("# mine\n")
    with pytest.raises(BadInput, match="a workspace already"):
        init_workspace(tmp_path)
    assert made.limits_path.read_text() == "# mine\n"


def test_a_file_in_the_way_is_not_overwritten(tmp_path):
    (tmp_path / "limits.toml").write_text("# mine\n")
    with pytest.raises(BadInput, match="would be overwritten"):
        init_workspace(tmp_path)
    assert not (tmp_path / "seamtell.toml").exists()


def test_a_killed_init_can_be_run_again(tmp_path):
    made = init_workspace(tmp_path)
    made.settings_path.unlink()
    assert init_workspace(tmp_path) == made


def test_a_file_is_no_folder(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(BadInput, match="a file, not a folder"):
        init_workspace(tmp_path / "file")


def test_the_settings_file_shows_every_default_of_the_code():
    shown = tomllib.loads(default_file("seamtell.toml").decode())
    assert shown == Settings().model_dump(mode="json")


def test_no_workspace_anywhere_is_an_error_with_advice(tmp_path):
    with pytest.raises(BadInput, match="no workspace"):
        find_workspace(tmp_path)


def test_a_workspace_of_a_newer_seamtell_is_refused_before_any_command_reads_it(tmp_path):
    made = init_workspace(tmp_path)
    made.settings_path.write_text("schema_version = 99\n")
    for options in ({"start": made.traces_dir}, {"explicit": tmp_path}):
        with pytest.raises(BadInput, match="the workspace has schema version 99"):
            find_workspace(**options)


def test_thresholds_that_cross_are_named_with_their_file(tmp_path):
    path = tmp_path / "seamtell.toml"
    path.write_text("[describe]\nenter_sigma = 1.0\n")
    with pytest.raises(BadInput, match=r"seamtell\.toml: key 'describe': leave_sigma is above enter_sigma"):
        read_settings(path)
