"""The arithmetic of the comparison of methods, against scikit-learn and closed forms."""

from __future__ import annotations

import sys
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from sklearn.metrics import f1_score

BENCHMARKS = Path(__file__).parents[2] / "benchmarks"


@pytest.fixture(scope="module")
def quality() -> dict[str, ModuleType]:
    """The modules of the comparison, which are scripts and no part of the package."""
    sys.path.insert(0, str(BENCHMARKS))
    from quality import scores, splits, views

    sys.path.remove(str(BENCHMARKS))
    return {m.__name__.split(".")[1]: m for m in (scores, splits, views)}


def noisy(truths: np.ndarray, share: float, rng: np.random.Generator) -> np.ndarray:
    """Answers of which about `share` are drawn at random."""
    return np.where(rng.random(len(truths)) < share, rng.integers(0, 5, len(truths)), truths)


def test_the_estimate_is_the_mean_over_draws_of_the_macro_f1_of_scikit_learn(quality):
    rng = np.random.default_rng(1)
    truths = rng.integers(0, 5, 400)
    answers = [noisy(truths, 0.3, rng) for _ in range(3)]
    seams = rng.integers(0, 150, 400).astype(str)
    estimate, _ = quality["scores"].resampled({"a": answers}, truths, seams)["a"]
    # scikit-learn: f1_score(average="macro").
    expected = np.mean([f1_score(truths, one, average="macro") for one in answers])
    assert estimate == pytest.approx(expected, abs=1e-12)


def test_resampling_one_draw_varies_as_resampling_seams_by_hand(quality):
    rng = np.random.default_rng(2)
    truths = rng.integers(0, 5, 300)
    answers, seams = noisy(truths, 0.4, rng), np.repeat(np.arange(100), 3)
    _, values = quality["scores"].resampled({"a": [answers]}, truths, seams.astype(str))["a"]
    by_hand = []
    for _ in range(400):
        rows = (rng.integers(0, 100, 100)[:, None] * 3 + np.arange(3)).ravel()
        by_hand.append(f1_score(truths[rows], answers[rows], average="macro"))
    # The cluster bootstrap written out; 400 draws know a standard deviation to about 4 %.
    assert values.std() == pytest.approx(np.std(by_hand), rel=0.15)


def test_draws_that_differ_widen_the_interval(quality):
    rng = np.random.default_rng(3)
    truths = rng.integers(0, 5, 2000)
    good, bad = noisy(truths, 0.1, rng), noisy(truths, 0.5, rng)
    seams = np.arange(2000).astype(str)
    of = quality["scores"].resampled({"same": [good, good], "differ": [good, bad]}, truths, seams)
    # Two draws drawn again with replacement: half of the time one of the two, so sd = half their distance.
    f1 = [f1_score(truths, one, average="macro") for one in (good, bad)]
    expected = np.sqrt(np.var([f1[0], f1[1]]) / 2)
    assert of["same"][1].std() < 0.015
    assert of["differ"][1].std() == pytest.approx(expected, rel=0.1)


def test_two_methods_that_answer_alike_differ_by_nothing_in_every_resample(quality):
    rng = np.random.default_rng(4)
    truths = rng.integers(0, 5, 200)
    found = [noisy(truths, 0.3, rng) for _ in range(4)]
    of = quality["scores"].resampled({"a": found, "b": found}, truths, np.arange(200).astype(str))
    assert np.array_equal(of["a"][1], of["b"][1])


def test_fewer_sections_are_a_part_of_more(quality):
    codes = np.random.default_rng(5).integers(0, 5, 300)
    few, more = (quality["splits"].first_of_each(codes, size) for size in (5, 20))
    assert set(few) < set(more)
    assert np.bincount(codes[few]).tolist() == [5] * 5


def test_what_is_checked_on_the_pilot_was_not_learnt_there(quality):
    codes = np.random.default_rng(6).integers(0, 5, 300)
    learn, check = (quality["splits"].first_of_each(codes, 20, skip) for skip in (0, 20))
    assert not set(learn) & set(check)


def shown(quality, extent_mm: float):
    """One ramp on both channels, 512 samples at 0.5 mm."""
    ramp = np.tile(np.arange(512, dtype=np.float32), (1, 2, 1))
    return quality["views"].Shown(ramp, 2 * ramp, np.array([extent_mm]), np.array([0]))


def test_a_near_window_is_the_middle_of_the_wide_one(quality):
    views = quality["views"]
    near = views.series(shown(quality, 10.0), views.View(views.Stretch.NEAR, views.Unit.SCALED, False))
    assert near.shape == (1, 2, 128)
    assert near[0, 0, 0] == 192


def test_a_cropped_series_reaches_one_beam_beyond_the_indication(quality):
    views = quality["views"]
    one = views.series(shown(quality, 20.0), views.View(views.Stretch.CROP, views.Unit.RAW, False))[0]
    # 20 mm and 9.4 mm on either side, at 0.5 mm: 2 x 38 samples and the middle one.
    assert one.shape == (2, 77)


def test_height_is_read_inside_the_indication_alone(quality):
    views = quality["views"]
    known = np.exp(views.facts(shown(quality, 20.0))[0])
    # The ramp's highest sample within 10 mm of sample 256 is 276, twice that in % FSH.
    np.testing.assert_allclose(known, [20.0, 276.0, 276.0, 552.0, 552.0], rtol=1e-12)
