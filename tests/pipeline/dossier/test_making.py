"""The files of a dossier, and the errors that a user can cause."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import pytest

from seamtell.pipeline.dossier import making
from seamtell.pipeline.dossier.content import DossierContent, Heading, Section
from seamtell.pipeline.dossier.making import make_dossier, write_dossier
from seamtell.pipeline.dossier.source import ACCEPTANCE_FILE, _read_acceptance, read_source
from seamtell.pipeline.errors import BadInput, Refused
from seamtell.pipeline.init import init_workspace
from seamtell.pipeline.workspace import Workspace

from .conftest import MADE


@pytest.fixture(scope="module")
def written(content, tmp_path_factory) -> tuple[Path, dict[str, str]]:
    folder = tmp_path_factory.mktemp("made") / "dossier"
    return folder, write_dossier(content, folder, {"tables/sections.csv": b"section_id\nS-001\n"})


def small() -> DossierContent:
    """The least that can be written."""
    return DossierContent("t", "i", "a", (), (Section("one", "One", (Heading("h"),)),))


def test_page_paper_tables_and_figures_are_written(written, content):
    folder, files = written
    assert {"dossier.html", "dossier.pdf", "tables/sections.csv"} <= set(files)
    assert {one.file for one in content.tables()} | {one.file for one in content.figures()} <= set(files)
    assert (folder / "dossier.pdf").read_bytes().startswith(b"%PDF")


def test_the_manifest_holds_the_sha256_of_every_other_file(written):
    folder, files = written
    manifest = json.loads((folder / "manifest.json").read_text(encoding="utf-8"))
    found = {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in folder.rglob("*")
        if path.is_file() and path.name != "manifest.json"
    }
    assert manifest["files"] == found == files


def test_an_older_dossier_leaves_no_table_behind_and_other_files_stay(tmp_path):
    write_dossier(small(), tmp_path, {"tables/old.csv": b"x"})
    (tmp_path / "tables" / "own.csv").write_bytes(b"mine")
    write_dossier(small(), tmp_path)
    assert [path.name for path in (tmp_path / "tables").iterdir()] == ["own.csv"]


def test_a_manifest_cannot_name_files_outside_its_folder(tmp_path):
    folder, outside = tmp_path / "dossier", tmp_path / "outside.csv"
    outside.write_bytes(b"mine")
    write_dossier(small(), folder)
    manifest = folder / "manifest.json"
    manifest.write_text(json.dumps({"files": {"../outside.csv": "", "tables/../../outside.csv": ""}}))
    write_dossier(small(), folder)
    assert outside.exists()


def test_a_run_that_was_cut_short_can_be_repeated(tmp_path, monkeypatch):
    def cut_short(*_: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        patched.setattr(making, "write_pdf", cut_short)
        with pytest.raises(KeyboardInterrupt):
            write_dossier(small(), tmp_path)
    making._check_folder(tmp_path)
    assert "dossier.pdf" in write_dossier(small(), tmp_path)


def test_a_folder_with_other_things_is_left_alone(tmp_path):
    (tmp_path / "letters").mkdir()
    with pytest.raises(BadInput, match="not empty and holds no dossier"):
        making._check_folder(tmp_path)


def test_an_older_dossier_may_be_replaced(tmp_path):
    write_dossier(small(), tmp_path)
    making._check_folder(tmp_path)


@pytest.fixture
def empty_workspace(tmp_path) -> Workspace:
    init_workspace(tmp_path / "shop")
    return Workspace(tmp_path / "shop")


def test_an_unknown_model_is_an_error_that_says_what_to_run(empty_workspace):
    with pytest.raises(BadInput, match="no model 'm-0042'") as caught:
        make_dossier(empty_workspace, "m-0042", now=MADE)
    assert "seamtell train" in caught.value.do
    assert not (empty_workspace.reports_dir / "m-0042").exists()


def test_reading_asks_for_the_model_first(empty_workspace):
    with pytest.raises(BadInput, match="no model"):
        read_source(empty_workspace, "../outside", now=MADE)


def test_an_evaluation_without_acceptance_statistics_says_what_to_run(tmp_path):
    with pytest.raises(BadInput, match="no acceptance statistics") as caught:
        _read_acceptance(tmp_path, "m-0007")
    assert caught.value.do == "run 'seamtell evaluate m-0007' again"


def test_a_broken_acceptance_record_is_refused_by_the_name_of_its_key(tmp_path):
    (tmp_path / ACCEPTANCE_FILE).write_text('{"model_id": 7}')
    with pytest.raises(Refused, match="not a whole record: 'model_id'"):
        _read_acceptance(tmp_path, "m-0007")


def test_a_record_reads_back_as_it_was_written(tmp_path, source):
    (tmp_path / ACCEPTANCE_FILE).write_text(source.acceptance.model_dump_json())
    assert _read_acceptance(tmp_path, "m-0007") == source.acceptance
