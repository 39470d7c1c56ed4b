"""Criteria: what the file may say, and how each is explained."""

from __future__ import annotations

import hashlib
from importlib.resources import files
from pathlib import Path

import pytest

from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.sign_off.criteria import Criterion, read_criteria
from seamtell.pipeline.sign_off.criteria_words import explain
from seamtell.pipeline.sign_off.statistics import Statistic

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


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"statistic": "a90_95_mm", "scope": "all", "interval": "estimate"}, "no figure for the scope 'all'"),
        ({"statistic": "a90_95_mm", "scope": "sound", "interval": "estimate"}, "scope 'sound'"),
        ({"statistic": "a90_95_mm", "scope": "pinhole", "interval": "high"}, "end of an interval"),
        (
            {"statistic": "a90_95_mm", "scope": "each_flaw", "interval": "estimate", "size": "length_mm"},
            "not a size of every class",
        ),
        ({"statistic": "kappa", "interval": "low", "detector": "either"}, "say nothing of 'kappa'"),
        ({"statistic": "kappa", "interval": "low", "stratum": "line=L1"}, "no figure of one stratum"),
        ({"statistic": "right", "interval": "low", "stratum": "shift=early"}, "expected KIND=VALUE"),
        ({"statistic": "right", "interval": "low", "stratum": "line="}, "expected KIND=VALUE"),
        (
            {"statistic": "right", "interval": "low", "stratum": "line=L1", "sections": "cross_validated"},
            "held-out sections only",
        ),
        (
            {"statistic": "weighted_kappa", "interval": "low", "sections": "cross_validated"},
            "not told for cross-validated",
        ),
        ({"statistic": "miss_rate_corrected", "interval": "low"}, "flatters"),
        ({"statistic": "weighted_kappa", "interval": "low", "level": 0.9}, r"level 0\.95 only"),
    ],
)
def test_a_criterion_on_the_acceptance_record_must_make_sense_too(
    fields: dict[str, object], message: str
) -> None:
    with pytest.raises(ValueError, match=message):
        Criterion.model_validate({"id": "c", "bound": 0.5, **fields})


COST = """
[[criterion]]
id = "cost"
statistic = "expected_cost_per_1000"
bound = 500
interval = "high"
"""


def test_a_criterion_on_cost_needs_a_cost_table(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match=r"'cost' needs a table \[costs\]"):
        _read(tmp_path, COST)
    assert _read(tmp_path, COST + "[costs]\nmissed_class = 40\n")[0].costs.missed_class == 40


def test_an_unknown_cost_is_named(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="needless_cuts"):
        _read(tmp_path, COST + "[costs]\nneedless_cuts = 2\n")


def test_the_margin_is_the_strictest_of_its_criteria(tmp_path: Path) -> None:
    text = '[[criterion]]\nid = "{}"\nstatistic = "right_vs_approved"\nbound = {}\ninterval = "low"\n'
    criteria, _ = _read(tmp_path, text.format("a", -0.1) + text.format("b", -0.02))
    assert criteria.margin(Statistic.RIGHT_VS_APPROVED) == pytest.approx(0.02)
    assert criteria.margin(Statistic.MACRO_F1_VS_APPROVED) is None


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
    ("fields", "words"),
    [
        (
            {"statistic": "a90_95_mm", "scope": "pinhole", "interval": "estimate"},
            "A hit is an indication on either channel, by the width of pinhole",
        ),
        ({"statistic": "right_vs_approved", "interval": "low", "bound": -0.02}, "A loss of up to 0.02"),
        ({"statistic": "right", "interval": "low", "stratum": "recipe=R1"}, "over those of recipe R1"),
        ({"statistic": "miss_rate_corrected", "interval": "high"}, "no model is needed"),
        ({"statistic": "krippendorff_alpha", "interval": "low"}, "that several examiners read"),
    ],
)
def test_the_sentence_says_what_must_be_known(fields: dict[str, object], words: str) -> None:
    assert words in explain(Criterion.model_validate({"id": "c", "bound": 0.5, **fields}))


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
