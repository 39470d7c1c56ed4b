from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from seamtell.features.contracts import CHANNELS, UNCLASSIFIED, Flaw
from seamtell.features.described_batch import DescribedBatch, SeamStatus
from seamtell.features.descriptors.registry import ALL
from seamtell.models.answers import Answers
from seamtell.models.limit_rule_batch import LIMIT_REASONS, LimitResults
from seamtell.models.verdict import Verdict
from seamtell.pipeline.decisions.decided_batch import DecidedBatch

CLASSES = tuple(flaw.value for flaw in Flaw)


def _answers(*told: str) -> Answers:
    """Each told is a label, or a reason for none."""
    labels = [one if one in CLASSES else UNCLASSIFIED for one in told]
    probabilities = np.full((len(told), 5), np.nan)
    for row, label in zip(probabilities, labels, strict=True):
        row[:] = [0.8 if name == label else 0.05 for name in CLASSES] if label in CLASSES else np.nan
    sets = [(label,) if label in CLASSES else CLASSES[1:3] for label in labels]
    reasons = ["" if label in CLASSES else one for label, one in zip(labels, told, strict=True)]
    return Answers.of_names(CLASSES, probabilities, labels, sets, np.full(len(told), np.nan), reasons)


def _limits(*reasons: str, exceeded: tuple[int, ...] = ()) -> LimitResults:
    """Empty reasons accept; `exceeded` seams are above on both channels."""
    codes = np.array([LIMIT_REASONS.index(r) if r else -1 for r in reasons], np.int8)
    above = np.zeros((len(reasons), 2), bool)
    above[list(exceeded)] = True
    verdicts = np.where(codes < 0, Verdict.ACCEPT, Verdict.REJECT).astype(np.int8)
    return LimitResults(CHANNELS, verdicts, above, codes)


def _described(seam: list[int], status: list[int]) -> DescribedBatch:
    n, m = len(status), len(seam)
    rows = np.array(seam, np.int32)
    return DescribedBatch(
        status=np.array(status, np.int8),
        dead_zone_indications=np.zeros(n, np.int32),
        baseline_pct=np.zeros((n, 2)),
        noise_pct=np.zeros((n, 2)),
        seam=rows,
        indication=np.array([seam[:i].count(s) for i, s in enumerate(seam)], np.int32),
        start_mm=np.arange(m) * 10.0,
        end_mm=np.arange(m) * 10.0 + 5,
        peak_mm=np.arange(m) * 10.0 + 2,
        shown=np.ones((m, 2), bool),
        exceeded=np.zeros((m, 2), bool),
        descriptors=np.zeros((m, len(ALL))),
    )


@pytest.fixture
def answers() -> Callable[..., Answers]:
    return _answers


@pytest.fixture
def limits() -> Callable[..., LimitResults]:
    return _limits


@pytest.fixture
def decided() -> DecidedBatch:
    """Four seams: accepted with two indications, rejected with one, of an unknown recipe, in conflict."""
    return DecidedBatch(
        seam_ids=["A", "B", "C", "D"],
        recipes=("R1", "R9"),
        recipe=np.array([0, 0, 1, 0], np.int32),
        verdicts=np.array([0, 2, 2, 1], np.int8),
        limits=_limits("", "above_limit", "no_limits_for_recipe", "", exceeded=(1,)),
        conflict=np.array([False, False, False, True]),
        not_described=np.zeros(4, bool),
        reasons=("", "above_limit", "no_limits_for_recipe", "conflicting_traces"),
        reason=np.array([0, 1, 2, 3], np.int32),
        described=_described([0, 0, 1, 3], [0, 0, SeamStatus.NO_LIMITS, 0]),
        exceeds_limit=np.array([False, False, True, False]),
        height_share=np.array([0.2, 0.4, 1.3, 0.6]),
        answers=_answers("pinhole", "ambiguous", "lack_of_fusion", "conflicting_traces"),
    )
