"""Criteria: what the file may say, and how each is explained."""

from __future__ import annotations

import hashlib
from importlib.resources import files
from pathlib import Path

import pytest

from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.sign_off.criteria import Criterion, explain, read_criteria

GOOD = """
[[criterion]]
id = "recall"
statistic = "recall"
scope = "each_flaw"
bound = 0.5
interval = "low"
"""


def _read(tmp_path: Path, text: str):
    path = tmp_path / "criteria.toml"
    path.write_text(text)
    return read_criteria(path)


def test_the_digest_is_that_of_the_bytes(tmp_path: Path) -> None:
    assert _read(tmp_path, GOOD)[1] == hashlib.sha256(GOOD.encode()).hexdigest()


def test_held_out_sections_and_the_usual_level_are_the_default(tmp_path: Path) -> None:
    (only,) = _read(tmp_path, GOOD)[0].criterion
    assert (only.sections, only.level) == ("held_out", 0.95)
    assert only.labels == ("pinhole", "edge_notch", "lack_of_fusion", "mismatch")


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ("bound = 0.5", "criterion 'recall', key 'bound': is missing"),
        ("bund = 0.5\nbound = 0.5", "criterion 'recall', key 'bund': there is no such key"),
        ("bound = nan", "finite number"),
        ("bound = 0.5\nlevel = 1.5", "criterion 'recall', key 'level'"),
    ],
)
def test_a_wrong_key_is_named_with_its_criterion(tmp_path: Path, change: str, message: str) -> None:
    new = "" if message.endswith("is missing") else change
    with pytest.raises(BadInput, match=message):
        _read(tmp_path, GOOD.replace("bound = 0.5", new))


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('"each_flaw"', '"porosity"', "expected one of all, each_flaw"),
        ('"each_flaw"', '"all"', "no figure for the scope 'all'"),
        ('"low"', '"high"', "flatters"),
        ('statistic = "recall"', 'statistic = "kappa"', "no figure for the scope 'each_flaw'"),
        ('statistic = "recall"', 'statistic = "sections"', "has no interval"),
        ('statistic = "recall"', 'statistic = "missed_share"', "flatters"),
        ('statistic = "recall"', 'statistic = "f2"', "criterion 'recall', key 'statistic'"),
    ],
)
def test_a_criterion_that_makes_no_sense_is_an_error(
    tmp_path: Path, old: str, new: str, message: str
) -> None:
    with pytest.raises(BadInput, match=message):
        _read(tmp_path, GOOD.replace(old, new))


def test_a_resampled_figure_has_one_level_only() -> None:
    with pytest.raises(ValueError, match=r"level 0\.95 only"):
        Criterion(id="k", statistic="kappa", bound=0.5, interval="low", level=0.9)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (GOOD + GOOD, "'recall' stands twice"),
        ("", "criterion"),
        ("nonsense", "not readable as TOML"),
        ("schema_version = 9\n" + GOOD, "schema version 9"),
    ],
)
def test_a_wrong_file_is_an_error(tmp_path: Path, text: str, message: str) -> None:
    with pytest.raises(BadInput, match=message):
        _read(tmp_path, text)


def test_a_missing_file_says_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="no criteria file"):
        read_criteria(tmp_path / "criteria.toml")


def test_the_default_file_is_valid_and_each_criterion_explains_itself() -> None:
    path = Path(str(files("seamtell.pipeline") / "defaults" / "criteria.toml"))
    criteria, _ = read_criteria(path)
    for criterion in criteria.criterion:
        sentence = explain(criterion)
        assert sentence.startswith(f"{criterion.id}: ")
        assert f"{criterion.bound:g}" in sentence


@pytest.mark.parametrize(
    ("criterion", "words"),
    [
        (
            Criterion(id="a", statistic="missed_share", bound=0.1, interval="high"),
            "at most 0.1 at the high end",
        ),
        (Criterion(id="a", statistic="sections", bound=9, interval="estimate"), "at least 9."),
        (
            Criterion(id="a", statistic="precision", scope="sound", bound=0.7, interval="estimate"),
            "among the sections labelled so must be at least 0.7 as estimated",
        ),
    ],
)
def test_the_sentence_says_direction_scope_and_end(criterion: Criterion, words: str) -> None:
    assert words in explain(criterion)
