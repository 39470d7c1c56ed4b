from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from statsmodels.stats.contingency_tables import mcnemar
from statsmodels.stats.proportion import proportion_confint

from seamtell.pipeline.evaluation.bootstrap import Plan
from seamtell.pipeline.retrain.comparing import compare_on, pair_answers

PLAN = Plan(seed=1, draws=200)


def answers(prefix: str, n: int, right: list[bool]) -> pd.DataFrame:
    truths = np.array(["pinhole", "mismatch"])[np.arange(n) % 2]
    said = np.where(right, truths, "unclassified")
    return pd.DataFrame(
        {
            "section_id": [f"{prefix}{i}" for i in range(n)],
            "truth": truths,
            "group": [f"c{i // 2}" for i in range(n)],
            "answer": said,
            "forced": said,
        }
    )


def test_discordant_sections_and_their_p_value_are_those_of_mcnemar_in_statsmodels() -> None:
    rng = np.random.default_rng(2)
    own, other = (rng.random(40) < share for share in (0.8, 0.5))
    both = pair_answers(answers("s", 40, own.tolist()), answers("s", 40, other.tolist()))
    table = [[(own & other).sum(), (own & ~other).sum()], [(~own & other).sum(), (~own & ~other).sum()]]
    whole = compare_on("held_out", both, None, approved_model_id="m", margins={}, plan=PLAN).classes[0]
    assert (whole.only_candidate, whole.only_approved) == (table[0][1], table[1][0])
    assert whole.p_exact == pytest.approx(mcnemar(table, exact=True).pvalue)
    low, high = proportion_confint(int(own.sum()), 40, method="beta")
    assert (whole.candidate.low, whole.candidate.high) == pytest.approx((low, high))


def test_only_sections_that_both_answered_are_compared() -> None:
    both = pair_answers(answers("s", 6, [True] * 6), answers("s", 4, [True] * 4))
    assert both["section_id"].tolist() == ["s0", "s1", "s2", "s3"]


def test_the_newest_are_those_named_and_none_is_unknown_not_zero() -> None:
    both = pair_answers(answers("s", 8, [True] * 8), answers("s", 8, [False] * 8))
    part = compare_on("newest", both, {"s1", "s2"}, approved_model_id="m", margins={}, plan=PLAN)
    assert part.sections == 2
    none = compare_on("newest", both, (), approved_model_id="m", margins={}, plan=PLAN)
    assert (none.sections, none.classes) == (0, ())
    assert none.unknown
