"""One reader for the TOML files of a workspace: each fault is one line that names the file."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from pydantic import BaseModel, ConfigDict, ValidationError

from seamtell.pipeline.errors import BadInput, StorageProblem
from seamtell.pipeline.versioned_toml import first_complaint, read_versioned_toml


def test_document_and_bytes_are_those_of_the_file(tmp_path: Path) -> None:
    path = tmp_path / "a.toml"
    path.write_bytes(b"schema_version = 1\n[recipe.R1]\nname = 'b\xc3\xa9ton'\n")
    document, data = read_versioned_toml(path, what="test file", version=1)
    assert data == path.read_bytes()
    assert document == tomllib.loads(data.decode())


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"a = \n", "not readable as TOML.*line 1"),
        (b"\xff", "not readable as TOML"),
        (b"schema_version = '1'\n", "schema_version '1' is not a whole number from 1"),
        (b"schema_version = 0\n", "schema_version 0 is not a whole number from 1"),
        (b"schema_version = 3\n", "the test file has schema version 3, this seamtell knows 2.*newer"),
    ],
)
def test_what_cannot_be_read_is_named_with_its_file(tmp_path: Path, content: bytes, said: str) -> None:
    path = tmp_path / "a.toml"
    path.write_bytes(content)
    with pytest.raises(BadInput, match=rf"a\.toml: {said}"):
        read_versioned_toml(path, what="test file", version=2)


def test_a_missing_file_says_where_an_example_is(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match=r"a\.toml: no test file.*seamtell init"):
        read_versioned_toml(tmp_path / "a.toml", what="test file", version=1)


def test_a_file_that_the_disk_does_not_give_is_a_storage_problem(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a.toml"
    path.write_text("")

    def refuse(_: Path) -> bytes:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "read_bytes", refuse)
    with pytest.raises(StorageProblem, match=r"a\.toml: no permission"):
        read_versioned_toml(path, what="test file", version=1)


def test_the_complaint_names_the_key_by_its_path() -> None:
    class Inner(BaseModel):
        folds: int

    class Outer(BaseModel):
        model_config = ConfigDict(extra="forbid")
        train: Inner

    with pytest.raises(ValidationError) as caught:
        Outer.model_validate({"train": {"folds": "many"}})
    assert first_complaint(caught.value).startswith("key 'train.folds': Input should be a valid integer")


def test_a_key_that_nobody_knows_is_named_before_the_one_it_stands_for() -> None:
    class Table(BaseModel):
        model_config = ConfigDict(extra="forbid")
        beam_width_mm: float

    with pytest.raises(ValidationError) as caught:
        Table.model_validate({"beam_widh_mm": 9.4})
    assert first_complaint(caught.value) == "key 'beam_widh_mm': there is no such key"
