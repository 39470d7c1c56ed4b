"""What the README promises is what the code does: file contracts, settings, exit codes."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from seamtell.pipeline.console import ExitCode
from seamtell.pipeline.decisions.files import (
    DECISION_COLUMNS,
    DECISIONS_FILE,
    INDICATION_COLUMNS,
    INDICATIONS_FILE,
)
from seamtell.pipeline.settings import Settings
from seamtell.pipeline.store.section_rows import SECTION_COLUMNS

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
NOT_SPELT_OUT = {"train.candidates": "all four", "review.labels": "lack_of_fusion = 0.5"}


def rows(first_cell: str) -> dict[str, str]:
    """Second cell of the table rows whose first cell matches the pattern, by first cell."""
    return dict(re.findall(rf"^\| `?({first_cell})`? \| ([^|]*?) \|", README, re.MULTILINE))


@pytest.mark.parametrize(
    ("file", "columns"), [(INDICATIONS_FILE, INDICATION_COLUMNS), (DECISIONS_FILE, DECISION_COLUMNS)]
)
def test_the_columns_of_the_decision_tables_are_the_documented_ones(
    file: str, columns: tuple[str, ...]
) -> None:
    (documented,) = re.findall(rf"^\| `{file}` \| \w+ \| `([^`]*)` \|", README, re.MULTILINE)
    assert tuple(documented.split(", ")) == columns


def test_the_section_table_has_the_documented_columns() -> None:
    (documented,) = re.findall(r"\*\*Sections\*\* [^`]*`([^`]*)`", README)
    assert tuple(documented.replace("\n", " ").split(", ")) == SECTION_COLUMNS


def test_every_setting_is_documented_with_its_default() -> None:
    documented = rows(r"(?:describe|match|train|review|track|sign_off|health)\.\w+|schema_version|shop")
    defaults = Settings().model_dump(mode="json")
    flat = {
        f"{name}.{key}" if isinstance(part, dict) else name: value
        for name, part in defaults.items()
        for key, value in (part if isinstance(part, dict) else {"": part}).items()
    }
    assert set(documented) == set(flat)
    for key, value in flat.items():
        said = NOT_SPELT_OUT.get(key, str(value).lower() if isinstance(value, bool) else str(value))
        assert documented[key].strip('"') == said, key
    assert defaults["train"]["candidates"] == ["prior", "hand_rule", "logistic", "lightgbm"]
    assert defaults["review"]["labels"] == {"lack_of_fusion": 0.5}


def test_every_exit_code_is_documented() -> None:
    assert {int(code) for code in rows(r"\d+")} == {int(code) for code in ExitCode}
