from __future__ import annotations

import numpy as np
import pytest
from statsmodels.stats.weightstats import DescrStatsW

from seamtell.features.contracts import Flaw
from seamtell.pipeline.acceptance.drawn_cuts import drawn_weights
from seamtell.pipeline.acceptance.production_counts import ABOVE_LIMIT, UNFLAGGED, Cuts, Production
from seamtell.pipeline.acceptance.selection import ALL_FLAWS, miss_rates
from seamtell.pipeline.evaluation.bootstrap import Plan


def test_cuts_of_no_plan_count_one_each() -> None:
    kinds = np.array(["a", "b", "b"])
    assert drawn_weights(kinds, None).tolist() == [1.0, 1.0, 1.0]
    assert drawn_weights(kinds, np.full(3, np.nan)).tolist() == [1.0, 1.0, 1.0]


def test_weights_of_a_kind_add_up_to_the_effective_number_of_kish() -> None:
    probability = np.array([0.9, 0.3, 0.05, 0.2])
    raw = 1 / probability
    weights = drawn_weights(np.array(["a"] * 4), probability)
    assert weights.sum() == pytest.approx(raw.sum() ** 2 / (raw**2).sum())
    assert weights / weights.sum() == pytest.approx(raw / raw.sum())


def test_the_weighed_share_is_the_weighted_mean_of_statsmodels() -> None:
    rng = np.random.default_rng(1)
    probability, flaw = rng.uniform(0.05, 1, 50), rng.random(50) < 0.4
    weights = drawn_weights(np.array(["a"] * 50), probability)
    assert weights @ flaw / weights.sum() == pytest.approx(
        DescrStatsW(flaw.astype(float), 1 / probability).mean
    )


def test_an_impossible_probability_is_an_error() -> None:
    with pytest.raises(ValueError, match="above 0 and at most 1"):
        drawn_weights(np.array(["a"]), np.array([0.0]))


def test_the_corrected_miss_rate_undoes_a_plan_that_hunts_flaws() -> None:
    """1,000 indications, half of them flaws, drawn four times as often: the weighed rate is the true one."""
    rng = np.random.default_rng(6)
    flaw = np.arange(1000) % 2 == 0
    p = np.where(flaw, 0.8, 0.2)
    drawn = rng.random(1000) < p
    audit = 400
    truths = np.r_[
        np.where(flaw[drawn], "pinhole", "sound"), np.repeat(["pinhole", "sound"], [20, audit - 20])
    ]
    kinds = np.r_[np.repeat(ABOVE_LIMIT, drawn.sum()), np.repeat(UNFLAGGED, audit)]
    n = len(truths)
    production = Production({ABOVE_LIMIT: 1000}, unflagged_places=10_000.0, place_mm=2.0)
    expected = 500 / (500 + 500)  # 20 of 400 audit cuts in 10,000 places, beside 500 indicated flaws

    def rate(probability: np.ndarray | None) -> float:
        cuts = Cuts(
            truths, kinds, kinds == UNFLAGGED, np.arange(n).astype(str), np.full(n, np.nan), probability
        )
        (one,) = miss_rates(cuts, production, Plan(seed=1, draws=200), labels=[ALL_FLAWS])
        assert one.corrected.estimate is not None
        return one.corrected.estimate

    probability = np.r_[p[drawn], np.full(audit, np.nan)]
    assert rate(probability) == pytest.approx(expected, abs=0.03)
    assert rate(None) == pytest.approx(500 / (500 + 800), abs=0.03)
    assert Flaw.PINHOLE.value in truths
