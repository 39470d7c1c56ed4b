from __future__ import annotations

import numpy as np
import pytest

from seamtell.models.limit_rule_batch import LIMIT_REASONS
from seamtell.models.reasons import Reason
from seamtell.pipeline.decisions.seam_reasons import seam_reasons


def told(limits, answers, seam, asking, *, conflict=(), not_described=(), without_model=None) -> list[str]:
    marks = [np.isin(np.arange(len(limits)), rows) for rows in (conflict, not_described)]
    combinations, index = seam_reasons(
        limits, *marks, np.array(seam, np.int32), answers, np.array(asking, bool), without_model
    )
    return [combinations[i] for i in index]


@pytest.mark.parametrize("reason", LIMIT_REASONS)
def test_the_limit_rules_reason_is_told(limits, answers, reason: str) -> None:
    assert told(limits(reason, ""), answers(), [], []) == [reason, ""]


def test_everything_that_holds_is_told_in_a_fixed_order(limits, answers) -> None:
    given = answers("sound", "novel", "lack_of_fusion", "novel", "pinhole")
    assert told(
        limits("non_finite_amplitude", "", ""),
        given,
        [0, 0, 0, 1, 2],
        [True, True, True, True, False],
        conflict=[0],
        not_described=[0, 2],
        without_model=Reason.DRIFT_ALARM,
    ) == [
        "non_finite_amplitude+conflicting_traces+not_described+lack_of_fusion+novel+sound+drift_alarm",
        "novel+drift_alarm",
        "not_described+drift_alarm",
    ]


def test_nothing_is_told_twice(limits, answers) -> None:
    given = answers("pinhole", "pinhole")
    assert told(limits(""), given, [0, 0], [True, True]) == ["pinhole"]


def test_a_batch_of_nothing_has_no_reasons(limits, answers) -> None:
    assert told(limits(), answers(), [], []) == []
