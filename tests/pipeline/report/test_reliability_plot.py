from __future__ import annotations

from xml.etree import ElementTree

from seamtell.pipeline.evaluation.result import Estimate, ReliabilityBin
from seamtell.pipeline.report.reliability_plot import draw_reliability, reliability_finding


def bin_of(stated: float, low: float, seen: float, high: float) -> ReliabilityBin:
    right = Estimate(n=20, estimate=seen, low=low, high=high)
    return ReliabilityBin(low_edge=0.0, high_edge=1.0, mean_probability=stated, right=right)


EMPTY = ReliabilityBin(
    low_edge=0.0, high_edge=0.2, mean_probability=0.1, right=Estimate(n=0, unknown="empty")
)


def test_bins_within_their_intervals_are_said_to_be_so():
    assert reliability_finding([bin_of(0.5, 0.3, 0.45, 0.6), EMPTY]).startswith("In all 1 bins")


def test_bins_that_promise_too_much_or_too_little_are_counted():
    bins = [bin_of(0.9, 0.3, 0.45, 0.6), bin_of(0.2, 0.3, 0.45, 0.6), bin_of(0.5, 0.3, 0.45, 0.6)]
    assert reliability_finding(bins) == (
        "Of 3 bins (n = 60), 1 promise more than came true and 1 promise less, beyond their intervals."
    )


def test_nothing_known_is_said_in_words():
    assert reliability_finding([EMPTY]).startswith("No section has a stated probability")


def test_every_known_bin_has_a_dot_at_its_place():
    root = ElementTree.fromstring(draw_reliability([bin_of(0.5, 0.3, 0.5, 0.7), EMPTY]))
    dots = [element for element in root if element.get("class") == "dot"]
    assert len(dots) == 1
    # Equal stated and seen: the dot lies on the diagonal from corner to corner.
    diagonal = next(element for element in root if element.get("class") == "limit").get("d")
    start, end = (tuple(map(float, point.split())) for point in diagonal[1:].split("L"))
    middle = ((start[0] + end[0]) / 2, (start[1] + end[1]) / 2)
    assert (float(dots[0].get("cx")), float(dots[0].get("cy"))) == middle
