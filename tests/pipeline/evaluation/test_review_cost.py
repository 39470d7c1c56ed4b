"""What requests for review cost and catch, on cases worked by hand."""

from __future__ import annotations

import pytest

from seamtell.pipeline.evaluation.review_cost import review_cost
from seamtell.pipeline.settings import ReviewSettings

SETTINGS = ReviewSettings()


def test_the_cost_is_accepted_times_asked_times_needless(cut, answered) -> None:
    frame = answered(
        cut("lack_of_fusion", "lack_of_fusion", seam_id="A"),
        cut("sound", "lack_of_fusion", seam_id="B"),
        cut("lack_of_fusion", "pinhole", seam_id="C"),
        cut("pinhole", "pinhole", seam_id="D"),
    ).frame
    sample = {f"S{i}": i < 10 for i in range(80)}
    cost = review_cost(sample, 100, {"A": True, "B": True, "C": False, "D": False}, frame, SETTINGS)
    assert (cost.asked.count, cost.asked.n) == (10, 80)
    assert (cost.needless.count, cost.needless.n) == (1, 2)
    # By hand: 80 of 100 accepted, 10 of 80 asked, 1 of 2 needless: 50 per 1,000.
    assert cost.needless_per_1000.estimate == pytest.approx(50.0)
    assert cost.needless_per_1000.low < 50.0 < cost.needless_per_1000.high
    assert (cost.caught.count, cost.caught.n) == (1, 2)


def test_a_seam_with_any_flaw_is_no_needless_review(cut, answered) -> None:
    frame = answered(cut("sound", "lack_of_fusion", seam_id="A"), cut("pinhole", seam_id="A")).frame
    assert review_cost({}, 0, {"A": True}, frame, SETTINGS).needless.count == 0


def test_without_a_sectioned_review_the_cost_is_unknown(cut, answered) -> None:
    frame = answered(cut("sound", "sound", seam_id="A")).frame
    cost = review_cost({"S1": True, "S2": False}, 2, {"A": False}, frame, SETTINGS)
    assert cost.asked.count == 1
    assert cost.needless_per_1000.unknown == "no reviewed seam was sectioned"
    assert cost.caught.estimate is None


def test_seams_that_the_limit_rule_rejects_are_not_counted(cut, answered) -> None:
    frame = answered(cut("lack_of_fusion", "lack_of_fusion", seam_id="A")).frame
    assert review_cost({}, 0, {}, frame, SETTINGS).caught.n == 0
