"""One evaluated model, shared by all tests of the sign-off."""

from __future__ import annotations

import shutil
from datetime import datetime
from pathlib import Path

import pytest

from seamtell.pipeline.evaluate import evaluate
from seamtell.pipeline.evaluation.result import EvaluationResult
from seamtell.pipeline.workspace import Workspace

EASY = """
[[criterion]]
id = "macro_f1"
statistic = "macro_f1"
bound = 0.2
interval = "low"

[costs]
missed_class = 50

"""


@pytest.fixture(scope="session")
def evaluated(trained, now: datetime, tmp_path_factory) -> tuple[Workspace, EvaluationResult]:
    """A copy of the trained shop, evaluated, not approved, with one easy criterion; do not change it."""
    folder = tmp_path_factory.mktemp("evaluated") / "ws"
    shutil.copytree(trained[0].root, folder, ignore=shutil.ignore_patterns("tracking"))
    ws = Workspace(folder)
    ws.log_path.unlink(missing_ok=True)
    ws.criteria_path.write_text(EASY)
    return ws, evaluate(ws, trained[1].model_id, now=now)


@pytest.fixture
def ws(evaluated, tmp_path: Path) -> Workspace:
    """A copy of the evaluated shop, to be changed at will."""
    shutil.copytree(evaluated[0].root, tmp_path / "ws")
    return Workspace(tmp_path / "ws")


@pytest.fixture
def easy_criteria() -> str:
    """Text of the criteria file that the evaluated model meets."""
    return EASY
