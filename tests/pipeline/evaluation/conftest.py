"""Sections and answers made up in tests."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
import pytest

from seamtell.models.answers import Answers
from seamtell.pipeline.evaluation.answered import AnsweredSections, answer_sections
from seamtell.pipeline.evaluation.result import Scope

CLASSES = ("pinhole", "edge_notch", "lack_of_fusion", "mismatch", "sound")


@dataclass(frozen=True)
class Cut:
    """One made-up section and what was answered; no answer means that nothing was indicated."""

    truth: str
    answer: str = ""
    top: str = ""
    probability: float = 0.9
    label_set: tuple[str, ...] = ()
    reason: str = ""
    purpose: str = "targeted"
    exceeds: bool = False
    left_out: str = ""
    seam_id: str = ""
    coil: str = ""
    shared_with: int | None = None


def _matched(cuts: Sequence[Cut]) -> pd.DataFrame:
    n = len(cuts)
    seams = [cut.seam_id or f"S{i}" for i, cut in enumerate(cuts)]
    hit = np.array([bool(cut.answer) for cut in cuts])
    return pd.DataFrame(
        {
            "section_id": [f"C{i:03d}" for i in range(n)],
            "seam_id": seams,
            "truth": [cut.truth for cut in cuts],
            "position_mm": 50.0,
            "tolerance_mm": 3.0,
            "purpose": [cut.purpose for cut in cuts],
            "matched": hit,
            "indication": pd.array([0 if h else pd.NA for h in hit], dtype="Int64"),
            "distance_mm": np.where(hit, 0.5, np.nan),
            "shared_with": pd.array(
                [pd.NA if cut.shared_with is None else cut.shared_with for cut in cuts], dtype="Int64"
            ),
            "welded_at": pd.to_datetime(["2026-03-01T08:00:00Z"] * n, utc=True),
            "group": [f"coil:{cut.coil or seam}" for cut, seam in zip(cuts, seams, strict=True)],
            "recipe": "R1",
            "start_mm": np.where(hit, 45.0, np.nan),
            "end_mm": np.where(hit, 55.0, np.nan),
            "exceeds_limit": [cut.exceeds for cut in cuts],
            "conflict": False,
            "left_out": [cut.left_out for cut in cuts],
        }
    )


def _row(cut: Cut) -> np.ndarray:
    if cut.probability != cut.probability:
        return np.full(len(CLASSES), np.nan)
    top = cut.top or (cut.answer if cut.answer in CLASSES else CLASSES[0])
    row = np.full(len(CLASSES), (1 - cut.probability) / (len(CLASSES) - 1))
    row[CLASSES.index(top)] = cut.probability
    return row


def _answered(*cuts: Cut) -> AnsweredSections:
    told = [cut for cut in cuts if cut.answer and not cut.left_out]
    probabilities = np.array([_row(cut) for cut in told]).reshape(-1, len(CLASSES))
    answers = Answers.of_names(
        classes=CLASSES,
        probabilities=probabilities,
        labels=tuple(cut.answer for cut in told),
        label_sets=tuple(cut.label_set or tuple({cut.answer} & set(CLASSES)) for cut in told),
        novelty_p=np.full(len(told), 0.5),
        reasons=tuple(cut.reason for cut in told),
    )
    exceeded = np.array([cut.exceeds for cut in cuts])
    return answer_sections(Scope.HELD_OUT, _matched(cuts), answers, {"prior": probabilities}, exceeded)


@pytest.fixture
def cut() -> type[Cut]:
    """Make one section."""
    return Cut


@pytest.fixture
def answered() -> Callable[..., AnsweredSections]:
    """Make answered sections of cuts."""
    return _answered
