"""Whether the limit rule detects at a section."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from seamtell.features.contracts import RecipeLimits, SeamTrace
from seamtell.pipeline.evaluation.limit_detection import exceeds_between, limit_exceeded
from seamtell.pipeline.limits_file import Limits

LIMITS = RecipeLimits("R1", {"specular": 20.0, "scatter": 10.0}, 10.0, 10.0, 9.0)


def _trace(at_mm: float, height_pct: float, channel: str = "specular") -> SeamTrace:
    amplitudes = {name: np.full(201, 2.0, np.float32) for name in ("specular", "scatter")}
    amplitudes[channel][int(at_mm)] = height_pct
    return SeamTrace("S1", datetime(2026, 1, 1, tzinfo=UTC), "L1", "R1", 0.0, 1.0, amplitudes)


@pytest.mark.parametrize(
    ("at_mm", "height_pct", "channel", "expected"),
    [
        (50.0, 21.0, "specular", True),
        (50.0, 20.0, "specular", False),
        (50.0, 11.0, "scatter", True),
        (60.0, 90.0, "specular", False),
        (50.0, 100.0, "specular", True),
    ],
)
def test_a_sample_above_its_limit_within_the_stretch_counts(at_mm, height_pct, channel, expected) -> None:
    assert exceeds_between(_trace(at_mm, height_pct, channel), LIMITS, 47.0, 53.0) is expected


def test_the_dead_zones_are_not_judged() -> None:
    assert not exceeds_between(_trace(5.0, 90.0), LIMITS, 0.0, 9.0)
    assert exceeds_between(_trace(10.0, 90.0), LIMITS, 0.0, 12.0)


def test_a_section_is_detected_by_its_indication_or_by_the_trace_at_its_place() -> None:
    matched = pd.DataFrame(
        {
            "seam_id": ["S1", "S1", "S1", "S9"],
            "position_mm": [50.0, 120.0, 160.0, 50.0],
            "tolerance_mm": 3.0,
            "exceeds_limit": [False, False, True, False],
        }
    )
    limits = Limits(Path("limits.toml"), "", {"R1": LIMITS})
    assert limit_exceeded(matched, [_trace(52.0, 30.0)], limits).tolist() == [True, False, True, False]
