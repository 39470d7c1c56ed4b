from __future__ import annotations

from xml.etree import ElementTree

import pytest

from seamtell.pipeline.evaluation.result import Estimate
from seamtell.pipeline.report.interval_mark import interval_mark


def parse(svg: str) -> ElementTree.Element:
    return ElementTree.fromstring(svg)


def test_whisker_and_dot_stand_at_the_figures():
    root = parse(interval_mark(Estimate(n=40, estimate=0.8, low=0.65, high=0.9)))
    whisker = next(e for e in root if e.get("class") == "whisker")
    assert (whisker.get("x1"), whisker.get("x2")) == ("65.00%", "90.00%")
    assert next(e for e in root if e.get("class") == "dot").get("cx") == "80.00%"


def test_the_scale_may_be_another_than_zero_to_one():
    root = parse(interval_mark(Estimate(n=9, estimate=5.0, low=2.5, high=7.5), 0.0, 10.0))
    assert next(e for e in root if e.get("class") == "dot").get("cx") == "50.00%"


def test_the_bound_asked_for_is_a_tick():
    root = parse(interval_mark(Estimate(n=9, estimate=0.5, low=0.4, high=0.6), bound=0.9))
    assert next(e for e in root if e.get("class") == "bound").get("x1") == "90.00%"


def test_what_is_not_known_is_hatched_and_not_a_zero():
    root = parse(interval_mark(Estimate(n=0, unknown="none cut")))
    assert [e.get("class") for e in root] == ["hatch"]
    assert root.get("aria-label") == "unknown (none cut)"


def test_a_figure_without_interval_has_no_whisker():
    root = parse(interval_mark(Estimate(n=3, estimate=0.5)))
    assert "whisker" not in {e.get("class") for e in root}


@pytest.mark.parametrize("value", [-3.0, 17.0])
def test_a_figure_off_the_scale_is_held_at_its_end(value):
    root = parse(interval_mark(Estimate(n=3, estimate=value, low=value, high=value)))
    assert next(e for e in root if e.get("class") == "dot").get("cx") in ("0.00%", "100.00%")
