"""Expected cost over the threshold, against a plain loop and a closed form."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import bootstrap

from seamtell.pipeline.acceptance.cost_table import CostTable, cost_rows
from seamtell.pipeline.acceptance.costs import (
    THRESHOLDS,
    answers_at,
    candidate_costs,
    cost_curve,
    mean_cost,
)
from seamtell.pipeline.acceptance.small_sample import expanded_level
from seamtell.pipeline.evaluation.bootstrap import Plan

CLASSES = ("pinhole", "edge_notch", "lack_of_fusion", "mismatch", "sound")
TABLE = CostTable(missed_class=50, wrong_class=5, needless_cut=2, unlabelled=1)


def _world(n: int, seed: int, sharp: float = 3.0) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Calibrated probabilities, truths drawn from them, and groups of two."""
    rng = np.random.default_rng(seed)
    scores = np.exp(sharp * rng.normal(size=(n, 5)))
    probabilities = scores / scores.sum(axis=1, keepdims=True)
    truths = np.array([CLASSES[rng.choice(5, p=row)] for row in probabilities])
    return truths, probabilities, np.array([f"g{i // 2:05d}" for i in range(n)])


def test_the_curve_is_that_of_a_plain_loop() -> None:
    truths, probabilities, _ = _world(50, 1)
    curve = cost_curve(TABLE, truths, probabilities, CLASSES)
    for threshold, per_1000 in zip(curve.thresholds, curve.per_1000, strict=True):
        total = 0.0
        for truth, row in zip(truths, probabilities, strict=True):
            best = max(range(5), key=lambda k: row[k])
            total += TABLE.cost(truth, CLASSES[best] if row[best] >= threshold else "unclassified")
        assert per_1000 == pytest.approx(1000 * total / 50)


def test_the_best_threshold_is_where_a_label_costs_as_much_as_none() -> None:
    # Closed form: two flaws only, so a label of probability p costs (1 - p) * wrong against
    # `unlabelled`; break-even at p = 1 - 1.5 / 5 = 0.7. The curve is flat there: one step to each side.
    rng = np.random.default_rng(2)
    p = rng.uniform(0.5, 1.0, size=40_000)
    probabilities = np.zeros((len(p), 5))
    probabilities[:, 0], probabilities[:, 1] = p, 1 - p
    truths = np.where(rng.random(len(p)) < p, "pinhole", "edge_notch")
    table = CostTable(missed_class=50, wrong_class=5, unlabelled=1.5)
    curve = cost_curve(table, truths, probabilities, CLASSES)
    best = curve.thresholds[int(np.argmin(curve.per_1000))]
    assert best == pytest.approx(0.7, abs=0.051)
    # At 0.7: 60 % get a label, at a mean error of 15 %; the rest costs 1.5.
    assert min(curve.per_1000) == pytest.approx(1000 * (0.6 * 0.15 * 5 + 0.4 * 1.5), rel=0.03)


def test_free_silence_means_never_to_label_and_dear_silence_means_always() -> None:
    truths, probabilities, groups = _world(200, 3)
    free = CostTable(missed_class=50, wrong_class=5, needless_cut=2, unlabelled=0)
    dear = CostTable(missed_class=50, wrong_class=5, needless_cut=5, unlabelled=50)
    best = [
        candidate_costs(t, truths, {"a": probabilities}, CLASSES, groups, chosen="a", plan=Plan(draws=50))[
            0
        ].best_threshold
        for t in (free, dear)
    ]
    assert best[0] > 0.9
    assert best[1] <= 0.5


def test_a_threshold_takes_labels_away_and_never_changes_one() -> None:
    _, probabilities, _ = _world(200, 4)
    always = answers_at(0.0, probabilities, CLASSES)
    for threshold in THRESHOLDS:
        answers = answers_at(threshold, probabilities, CLASSES)
        assert np.all((answers == always) | (answers == "unclassified"))


def test_an_indication_without_probabilities_gets_no_label_at_any_threshold() -> None:
    probabilities = np.full((1, 5), np.nan)
    assert all(answers_at(t, probabilities, CLASSES)[0] == "unclassified" for t in THRESHOLDS)


def test_the_stated_cost_is_not_better_than_it_is_for_choosing_on_the_same_sections() -> None:
    # Simulation with known truth: probabilities that say nothing, so every threshold below the
    # least top probability costs the same by nature and the best one seen is luck.
    rng = np.random.default_rng(5)
    seen, stated = [], []
    for seed in range(300):
        top = rng.uniform(0.2, 1.0, size=30)
        probabilities = np.column_stack([top, *([(1 - top) / 4] * 4)])
        truths = np.where(rng.random(30) < 0.8, "pinhole", "edge_notch")
        groups = np.array([f"g{i:02d}" for i in range(30)])
        found = candidate_costs(
            TABLE, truths, {"a": probabilities}, CLASSES, groups, chosen="a", plan=Plan(draws=10, seed=seed)
        )[0]
        seen.append(min(found.curve.per_1000))
        stated.append(found.per_1000.estimate)
    # A label and its absence both cost 1 on average: 0.2 * 5 = 1 = unlabelled.
    assert np.mean(seen) < 900
    assert np.mean(stated) == pytest.approx(1000, abs=60)


def test_without_groups_the_interval_holds_that_of_scipy() -> None:
    # Outside reference: scipy.stats.bootstrap(method="BCa"), with and without the imagined section.
    truths, probabilities, _ = _world(80, 6)
    groups = np.array([f"g{i:03d}" for i in range(80)])
    costs = cost_rows(TABLE, truths, answers_at(0.0, probabilities, CLASSES))
    ours = mean_cost(costs, groups, TABLE, Plan(draws=20_000))
    ends = [
        bootstrap(
            (np.append(costs, extra),),
            np.mean,
            n_resamples=20_000,
            confidence_level=expanded_level(0.95, 80),
            method="BCa",
            rng=1,
        ).confidence_interval
        for extra in ([], [50.0])
    ]
    width = ours.high - ours.low
    assert ours.low == pytest.approx(1000 * min(one.low for one in ends), abs=0.05 * width)
    assert ours.high == pytest.approx(1000 * max(one.high for one in ends), abs=0.05 * width)
    assert ours.estimate == pytest.approx(1000 * costs.mean())


def test_every_candidate_has_its_own_figures_in_the_order_given() -> None:
    truths, sharp, groups = _world(200, 7, sharp=8.0)
    flat = np.full((200, 5), 0.2)
    found = candidate_costs(
        TABLE,
        truths,
        {"flat": flat, "sharp": sharp},
        CLASSES,
        groups,
        chosen="sharp",
        plan=Plan(draws=200),
    )
    assert [(one.candidate, one.chosen) for one in found] == [("flat", False), ("sharp", True)]
    assert found[1].per_1000.estimate < found[0].per_1000.estimate
    assert "threshold chosen on the other groups" in found[1].per_1000.method
    assert found[1].per_1000.low < found[1].per_1000.estimate < found[1].per_1000.high


def test_no_mistake_seen_does_not_mean_no_cost() -> None:
    costs = np.zeros(20)
    figure = mean_cost(costs, np.array([f"g{i:02d}" for i in range(20)]), TABLE, Plan(draws=300))
    # The exact bound of 0 in 20 (Clopper-Pearson, 0.168) times the dearest mistake.
    assert figure.high >= 1000 * 50 * 0.168


def test_one_group_gives_no_cost() -> None:
    truths, probabilities, _ = _world(20, 8)
    found = candidate_costs(
        TABLE, truths, {"a": probabilities}, CLASSES, np.full(20, "g"), chosen="a", plan=Plan(draws=50)
    )
    assert found[0].per_1000.unknown == "all sections are of one group"


def test_no_section_gives_no_candidate() -> None:
    none = np.array([], dtype=str)
    empty = {"a": np.empty((0, 5))}
    assert candidate_costs(TABLE, none, empty, CLASSES, none, chosen="a", plan=Plan()) == ()
