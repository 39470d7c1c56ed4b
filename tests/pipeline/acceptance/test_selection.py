"""The corrected miss rate, against the two-by-two formula and against made-up production with known truth."""

from __future__ import annotations

import numpy as np
import pytest

from seamtell.pipeline.acceptance.production_counts import UNFLAGGED, Cuts, Production
from seamtell.pipeline.acceptance.selection import ALL_FLAWS, FEW_MISSES, WANTED_MISS_RATE, miss_rates
from seamtell.pipeline.evaluation.bootstrap import Plan

FLAWS = ("pinhole", "edge_notch", "lack_of_fusion", "mismatch")
PLAN = Plan(draws=300)


def cuts(*rows, groups=None, length_mm=None):
    """Rows of (how many, truth, kind, random)."""
    numbers = [row[0] for row in rows]
    n = sum(numbers)
    return Cuts(
        truths=np.repeat([row[1] for row in rows], numbers).astype(str),
        kinds=np.repeat([row[2] for row in rows], numbers).astype(str),
        random=np.repeat([row[3] for row in rows], numbers).astype(bool),
        groups=np.arange(n).astype(str) if groups is None else groups,
        length_mm=np.full(n, np.nan) if length_mm is None else length_mm,
    )


def production(unflagged, place_mm=3.0, **indications):
    return Production(indications, unflagged, place_mm)


def of(label, made_cuts, made_production, plan=PLAN):
    return miss_rates(made_cuts, made_production, plan, labels=[label])[0]


def begg_greenes_sensitivity(ppv, npv, positive, negative):
    """The textbook form: Begg and Greenes (1983), sensitivity of a binary test."""
    return ppv * positive / (ppv * positive + (1 - npv) * negative)


# Liver scans of 650 patients, 344 of them verified: the example of the literature on this
# correction (Drum and Christacopoulos 1972, as used by Begg and Greenes; from memory).
LIVER = cuts(
    (231, "pinhole", "shown", False),
    (32, "sound", "shown", False),
    (27, "pinhole", UNFLAGGED, True),
    (54, "sound", UNFLAGGED, True),
)
LIVER_PRODUCTION = production(221, shown=429)


def test_the_liver_scans_give_the_published_corrected_sensitivity() -> None:
    found = of("pinhole", LIVER, LIVER_PRODUCTION)
    # Published: 0.90 as verified, 0.84 corrected (from memory).
    assert 1 - found.as_cut.estimate == pytest.approx(0.895, abs=0.001)
    assert 1 - found.corrected.estimate == pytest.approx(0.836, abs=0.001)
    assert 1 - found.corrected.estimate == pytest.approx(
        begg_greenes_sensitivity(231 / 263, 54 / 81, 429, 221), abs=1e-12
    )


def test_the_interval_of_the_liver_scans_is_that_of_the_delta_method() -> None:
    found = of("pinhole", LIVER, LIVER_PRODUCTION, Plan(draws=4000))
    # Variance of the log odds with known numbers of patients: two independent binomial shares.
    shown, quiet = 231 / 263, 27 / 81
    spread = 1.959964 * np.sqrt((1 - shown) / (263 * shown) + (1 - quiet) / (81 * quiet))
    centre = np.log(221 * quiet / (429 * shown))
    low, high = 1 / (1 + np.exp(-(centre + np.array([-spread, spread]))))
    assert found.corrected.low == pytest.approx(low, abs=0.012)
    assert found.corrected.high == pytest.approx(high, abs=0.012)
    assert found.exact_low < found.corrected.low
    assert found.exact_high > found.corrected.high


def test_with_one_flaw_the_many_class_figure_is_the_two_class_one() -> None:
    both = miss_rates(LIVER, LIVER_PRODUCTION, PLAN)
    assert [rate.label for rate in both] == [ALL_FLAWS, *FLAWS]
    together, alone = both[0], both[1]
    assert together.corrected == alone.corrected
    assert (together.exact_low, together.exact_high) == (alone.exact_low, alone.exact_high)


@pytest.mark.parametrize("seed", range(5))
def test_each_class_follows_the_two_class_formula_with_the_rest_as_sound(seed: int) -> None:
    rng = np.random.default_rng(seed)
    shown, quiet = rng.integers(3, 40, 5), rng.integers(3, 40, 5)
    truths = (*FLAWS, "sound")
    made = cuts(
        *((n, truth, "shown", False) for n, truth in zip(shown, truths, strict=True)),
        *((n, truth, UNFLAGGED, True) for n, truth in zip(quiet, truths, strict=True)),
    )
    positive, negative = 500, 2000
    for i, flaw in enumerate(FLAWS):
        expected = 1 - begg_greenes_sensitivity(
            shown[i] / shown.sum(), 1 - quiet[i] / quiet.sum(), positive, negative
        )
        assert of(flaw, made, production(negative, shown=positive)).corrected.estimate == pytest.approx(
            expected
        )


class MadeUpShop:
    """Production of which everything is known, cut as shops cut."""

    def __init__(self, seed: int) -> None:
        self.rng = np.random.default_rng(seed)
        self.unflagged = self.rng.choice([*FLAWS, "sound"], 20_000, p=[0.03, 0.015, 0.002, 0.003, 0.95])
        self.above = self.rng.choice([*FLAWS, "sound"], 1_200, p=[0.3, 0.2, 0.3, 0.15, 0.05])
        self.below = self.rng.choice([*FLAWS, "sound"], 1_800, p=[0.25, 0.1, 0.05, 0.1, 0.5])

    def true_miss_rate(self, flaw: str) -> float:
        if flaw == ALL_FLAWS:
            missed, shown = (self.unflagged != "sound").sum(), 0
            shown = (self.above != "sound").sum() + (self.below != "sound").sum()
        else:
            missed = (self.unflagged == flaw).sum()
            shown = (self.above == flaw).sum() + (self.below == flaw).sum()
        return float(missed / (missed + shown))

    def cut(self, above: int, below: int, audit: int) -> Cuts:
        parts = [
            ("above", self.above, above),
            ("below", self.below, below),
            (UNFLAGGED, self.unflagged, audit),
        ]
        truths = np.concatenate([self.rng.choice(pool, n, replace=False) for _, pool, n in parts])
        kinds = np.repeat([kind for kind, _, _ in parts], [n for _, _, n in parts])
        n = len(truths)
        return Cuts(truths, kinds, kinds == UNFLAGGED, np.arange(n).astype(str), np.full(n, np.nan))

    @property
    def production(self) -> Production:
        return production(len(self.unflagged), above=len(self.above), below=len(self.below))


def test_the_correction_removes_the_bias_that_targeted_cuts_make() -> None:
    shop = MadeUpShop(1)
    for flaw in (ALL_FLAWS, "pinhole", "edge_notch"):
        rates = [of(flaw, shop.cut(300, 100, 400), shop.production, Plan(draws=20)) for _ in range(150)]
        truth = shop.true_miss_rate(flaw)
        before = np.mean([rate.as_cut.estimate for rate in rates]) - truth
        after = np.mean([rate.corrected.estimate for rate in rates]) - truth
        assert before < -0.1, (flaw, before)
        assert abs(after) < 0.02, (flaw, after)


def test_the_interval_of_the_corrected_rate_covers_the_truth() -> None:
    shop = MadeUpShop(2)
    truth = shop.true_miss_rate(ALL_FLAWS)
    rates = [of(ALL_FLAWS, shop.cut(300, 100, 400), shop.production, Plan(draws=400)) for _ in range(150)]
    inside = np.mean([rate.corrected.low <= truth <= rate.corrected.high for rate in rates])
    assert inside >= 0.91  # nominal 0.95; 150 runs tell it to about 0.035


@pytest.mark.parametrize("audit", [5, 20, 60])
def test_the_exact_bounds_cover_the_truth_also_with_few_random_cuts(audit: int) -> None:
    shop = MadeUpShop(3)
    truth = shop.true_miss_rate("pinhole")
    rates = [of("pinhole", shop.cut(60, 30, audit), shop.production, Plan(draws=20)) for _ in range(200)]
    assert np.mean([rate.exact_low <= truth <= rate.exact_high for rate in rates]) >= 0.95


def test_kinds_of_indication_cut_more_often_do_not_sway_the_figure() -> None:
    # All sound indications lie below the limit, and those above it are cut ten times as often.
    made = cuts(
        (100, "pinhole", "above", False),
        (2, "pinhole", "below", False),
        (8, "sound", "below", False),
        (10, "pinhole", UNFLAGGED, True),
        (90, "sound", UNFLAGGED, True),
    )
    found = of("pinhole", made, production(1000, above=200, below=200))
    # By hand: missed 1000 x 0.1 = 100; indicated 200 x 1 + 200 x 0.2 = 240.
    assert found.corrected.estimate == pytest.approx(100 / 340)


def test_a_long_flaw_is_met_by_more_random_cuts_and_weighs_less() -> None:
    """Flaws laid on seams at random, cut at random: the weights give back their number."""
    rng = np.random.default_rng(5)
    seam_mm, place_mm = 200_000.0, 3.0
    lengths = rng.choice([0.5, 6.0, 30.0], 400)
    starts = rng.uniform(0, seam_mm - 30, 400)
    at = rng.uniform(0, seam_mm, 6000)
    gap = np.maximum(starts[None, :] - at[:, None], at[:, None] - (starts + lengths)[None, :])
    nearest = gap.argmin(axis=1)
    met = gap[np.arange(len(at)), nearest] <= place_mm / 2
    made = cuts(
        (100, "mismatch", "shown", False),
        (int(met.sum()), "mismatch", UNFLAGGED, True),
        (int((~met).sum()), "sound", UNFLAGGED, True),
        length_mm=np.concatenate([np.full(100, 5.0), lengths[nearest[met]], np.full((~met).sum(), np.nan)]),
    )
    found = of("mismatch", made, production(seam_mm / place_mm, place_mm, shown=400), Plan(draws=1000))
    # 400 missed, 400 shown.
    assert found.corrected.estimate == pytest.approx(0.5, abs=0.05)
    assert found.corrected.low < 0.5 < found.corrected.high
    assert found.exact_low < 0.5 < found.exact_high
    unweighted = of(
        "mismatch",
        cuts(
            *(
                (int(n), t, k, r)
                for n, t, k, r in [
                    (100, "mismatch", "shown", False),
                    (met.sum(), "mismatch", UNFLAGGED, True),
                    ((~met).sum(), "sound", UNFLAGGED, True),
                ]
            )
        ),
        production(seam_mm / place_mm, place_mm, shown=400),
    )
    assert unweighted.corrected.estimate > 0.75


def test_without_an_unflagged_cut_the_rate_is_unknown_and_says_what_would_bound_it() -> None:
    found = of("pinhole", cuts((40, "pinhole", "shown", False)), production(5000, shown=100))
    assert found.as_cut.estimate is None
    assert found.corrected.estimate is None
    assert found.corrected.unknown == "nothing unflagged was cut"
    assert (found.exact_low, found.exact_high) == (None, None)
    assert found.random_cuts_wanted > 0
    assert "Unknown, not zero" in found.words
    assert f"{found.random_cuts_wanted:,} random cuts" in found.words


def test_the_number_of_random_cuts_wanted_bounds_the_rate_and_one_less_does_not() -> None:
    indicated = (40, "pinhole", "shown", False)
    made = production(3000, shown=500)
    wanted = of("pinhole", cuts(indicated), made).random_cuts_wanted
    enough = of("pinhole", cuts(indicated, (wanted, "sound", UNFLAGGED, True)), made)
    short = of("pinhole", cuts(indicated, (wanted - 1, "sound", UNFLAGGED, True)), made)
    assert enough.exact_high <= WANTED_MISS_RATE < short.exact_high


def test_random_cuts_without_a_miss_do_not_prove_a_rate_of_zero() -> None:
    made = cuts((50, "pinhole", "shown", False), (30, "sound", UNFLAGGED, True))
    found = of("pinhole", made, production(10_000, shown=300))
    assert found.bounds_only
    assert found.exact_low == 0.0
    assert found.exact_high > 0.7
    assert (found.corrected.low, found.corrected.high) == (found.exact_low, found.exact_high)
    assert "no missed pinhole: the data support no more than the bounds" in found.words


@pytest.mark.parametrize(("misses", "bounds_only"), [(FEW_MISSES - 1, True), (FEW_MISSES, False)])
def test_few_misses_leave_the_bounds_only(misses: int, bounds_only: bool) -> None:
    made = cuts(
        (50, "pinhole", "shown", False),
        (misses, "pinhole", UNFLAGGED, True),
        (60, "sound", UNFLAGGED, True),
    )
    found = of("pinhole", made, production(2000, shown=300))
    assert found.bounds_only is bounds_only
    assert ("no more than the bounds" in found.words) is bounds_only
    assert found.corrected.low < found.corrected.estimate < found.corrected.high


def test_the_corrected_point_swings_with_a_handful_of_misses_as_published() -> None:
    # BMC Medical Research Methodology 8:75 (2008) reports swings of this size from none to four.
    def sensitivity(misses: int) -> float:
        made = cuts(
            (50, "pinhole", "shown", False),
            (misses, "pinhole", UNFLAGGED, True),
            (40 - misses, "sound", UNFLAGGED, True),
        )
        return 1 - of("pinhole", made, production(600, shown=100)).corrected.estimate

    assert sensitivity(0) - sensitivity(4) > 0.3


def test_suspicious_cuts_at_unflagged_places_count_as_cut_only() -> None:
    rows = [
        (50, "pinhole", "shown", False),
        (8, "pinhole", UNFLAGGED, True),
        (92, "sound", UNFLAGGED, True),
    ]
    made = production(1000, shown=300)
    before = of("pinhole", cuts(*rows), made)
    after = of("pinhole", cuts(*rows, (30, "pinhole", UNFLAGGED, False)), made)
    assert after.corrected.estimate == before.corrected.estimate
    assert (after.random_cuts, after.random_misses) == (100, 8)
    assert (before.as_cut.count, after.as_cut.count) == (8, 38)


def test_a_kind_of_indication_that_nobody_cut_leaves_the_rate_unknown_with_bounds() -> None:
    made = cuts(
        (50, "pinhole", "above", False), (10, "pinhole", UNFLAGGED, True), (90, "sound", UNFLAGGED, True)
    )
    found = of("pinhole", made, production(1000, above=200, below=200))
    assert found.corrected.unknown == "no indication below was cut"
    assert 0 < found.exact_low < found.exact_high < 1


def test_a_flaw_that_no_section_found_is_unknown_and_nothing_bounds_it() -> None:
    made = cuts((50, "pinhole", "shown", False), (90, "sound", UNFLAGGED, True))
    found = of("mismatch", made, production(1000, shown=200))
    assert found.corrected.unknown == "no section found this flaw"
    assert (found.exact_low, found.exact_high) == (0.0, 1.0)
    assert found.random_cuts_wanted is None


def test_whole_coils_are_resampled() -> None:
    rows = [(60, "pinhole", "shown", False), (20, "pinhole", UNFLAGGED, True), (80, "sound", UNFLAGGED, True)]
    # All misses on four coils of five cuts: as if there were four of them.
    coils = np.concatenate([np.arange(60) + 100, np.repeat(np.arange(20), 5)]).astype(str)
    alone = of("pinhole", cuts(*rows), production(1000, shown=300), Plan(draws=2000))
    together = of("pinhole", cuts(*rows, groups=coils), production(1000, shown=300), Plan(draws=2000))
    width = [rate.corrected.high - rate.corrected.low for rate in (alone, together)]
    assert width[1] > 1.5 * width[0]


def test_a_kind_that_production_does_not_count_is_refused() -> None:
    with pytest.raises(ValueError, match="no count of indications of kind odd"):
        miss_rates(cuts((1, "pinhole", "odd", False)), production(10, shown=1), PLAN)


@pytest.mark.parametrize(
    ("unflagged", "place_mm", "indications"), [(-1, 3, {}), (1, 0, {}), (1, 3, {"a": -1}), (1, 3, {"": 1})]
)
def test_impossible_production_is_refused(unflagged, place_mm, indications) -> None:
    with pytest.raises(ValueError, match=r"got|kind"):
        Production(indications, unflagged, place_mm)
