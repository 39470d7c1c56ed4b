"""Which seams the model was asked about, and the others left out with what is on them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from seamtell.models.reasons import Reason
from seamtell.pipeline.counted_decisions import Decided
from seamtell.pipeline.decisions.files import DecisionRecord
from seamtell.pipeline.production.decided import ANSWERS, DecidedIndications, DecidedSeams, reasons_in_force

UNCLASSIFIED = len(ANSWERS) - 1


@pytest.fixture
def decided(bare_record: Callable[..., DecisionRecord]) -> Decided:
    """Six seams: the second is suspended, the last two are of a recipe that the model does not know."""
    n = 6
    metadata = pd.DataFrame(
        {
            "seam_id": [f"S{i}" for i in range(n)],
            "line": "L1",
            "recipe": ["R1"] * 4 + ["R9"] * 2,
            "coil": "C1",
            "week": "2026-01-05",
        }
    )
    at = np.datetime64("2026-01-05", "s") + np.arange(n) * np.timedelta64(60, "s")
    force = np.array([True, False, True, True, True, True])
    start, end = np.zeros(n), np.full(n, 500.0)
    seams = DecidedSeams(metadata, at, start, end, start + 10.0, end - 10.0, force)
    seam = np.array([0, 0, 1, 3, 4], np.int32)
    indications = DecidedIndications(
        seam=seam,
        answer=np.array([0, 1, UNCLASSIFIED, 2, UNCLASSIFIED], np.int8),
        above=np.zeros(5, bool),
        height_share=np.array([0.5, 0.1, 0.4, 0.3, 0.6], np.float32),
        peak_mm=np.full(5, 100.0, np.float32),
        outside=np.array([False, False, False, False, True]),
    )
    record = bare_record(datetime(2026, 2, 1, tzinfo=UTC), seams=n, indications=5, digest="d")
    return Decided(Path("decisions"), record, seams, indications)


def test_suspended_seams_and_those_of_an_unknown_recipe_are_not_counted(decided: Decided) -> None:
    # Seam S5 has no indication that would say so; its recipe does.
    assert decided.asked.tolist() == [True, False, True, True, False, False]
    asked = decided.of_asked()
    assert asked.seams.metadata["seam_id"].tolist() == ["S0", "S2", "S3"]
    assert asked.indications.seam.tolist() == [0, 0, 2]
    assert asked.indications.answer.tolist() == [0, 1, 2]
    cells = asked.counted().cells
    assert cells.seams.sum() == 3
    assert cells.metres.sum() == pytest.approx(3 * 0.48)
    assert decided.counted().cells.seams.sum() == 6


def test_without_a_model_all_seams_count(decided: Decided) -> None:
    record = decided.record.model_copy(update={"model_digest": ""})
    assert replace(decided, record=record).of_asked().seams is decided.seams


@pytest.mark.parametrize(
    "reason", [Reason.DRIFT_ALARM, Reason.REFERENCE_CHECK_FAILED, Reason.REFERENCE_CHECK_OVERDUE]
)
def test_labels_are_in_force_unless_a_reason_of_the_seam_withholds_them(reason: Reason) -> None:
    reasons = pd.Series(["", "above_limit", f"above_limit+{reason.value}", reason.value, "pinhole", None])
    assert reasons_in_force(reasons).tolist() == [True, True, False, False, True, True]
