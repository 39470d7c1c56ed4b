from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from seamtell.pipeline.cutting.choosing import choose_indications
from seamtell.pipeline.cutting.near_copies import Looks


def shop(seams: int, per_seam: int, seed: int = 1) -> tuple[Looks, np.ndarray]:
    rng = np.random.default_rng(seed)
    m = seams * per_seam
    looks = Looks(
        points=rng.normal(size=(m, 3)),
        seams=np.repeat([f"s{i:03d}" for i in range(seams)], per_seam),
        coils=np.repeat([f"c{i // 3}" for i in range(seams)], per_seam),
        lines=np.repeat([f"L{i % 2}" for i in range(seams)], per_seam),
        position_mm=rng.uniform(0, 300, m),
    )
    return looks, rng.exponential(size=m)


def test_indications_are_drawn_as_often_as_the_stored_probabilities_say() -> None:
    looks, worth = shop(20, 2)
    counts, draws = np.zeros(40), 1500
    for seed in range(draws):
        choice = choose_indications(looks, worth, 5, np.random.default_rng(seed))
        counts[choice.chosen] += 1
    p = choice.probabilities
    z = (counts - draws * p) / np.sqrt(draws * p * (1 - p))
    assert (z**2).sum() < stats.chi2.ppf(0.9999, 40)


def test_at_most_one_cut_falls_on_a_seam() -> None:
    looks, worth = shop(12, 4)
    for seed in range(30):
        chosen = choose_indications(looks, worth, 9, np.random.default_rng(seed)).chosen
        assert len(chosen) == 9
        assert len(set(looks.seams[chosen])) == 9


def test_near_copies_are_not_both_cut() -> None:
    looks, _ = shop(30, 1)
    twins = looks.points.copy()
    twins[1::2] = twins[::2] + 0.01
    pairs = Looks(twins, looks.seams, looks.coils, looks.lines, looks.position_mm)
    worth = np.ones(30)
    for seed in range(40):
        chosen = choose_indications(pairs, worth, 10, np.random.default_rng(seed)).chosen
        assert len(set((chosen // 2).tolist())) == 10


def test_the_same_seed_draws_the_same_cuts() -> None:
    looks, worth = shop(20, 2)
    first, second = (choose_indications(looks, worth, 6, np.random.default_rng(7)) for _ in range(2))
    assert first.chosen.tolist() == second.chosen.tolist()


def test_more_cuts_than_seams_are_an_error() -> None:
    looks, worth = shop(3, 2)
    with pytest.raises(ValueError, match="got 4 places to draw, expected 0 to 3"):
        choose_indications(looks, worth, 4, np.random.default_rng(1))


def test_all_seams_can_be_drawn_at_once() -> None:
    looks, worth = shop(8, 2)
    assert len(choose_indications(looks, worth, 8, np.random.default_rng(1)).chosen) == 8
