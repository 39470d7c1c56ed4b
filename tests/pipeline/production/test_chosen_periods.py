from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.production.chosen_periods import parse_periods, period_names


@given(st.dates(min_value=pd.Timestamp("1990-01-01").date(), max_value=pd.Timestamp("2200-12-01").date()))
def test_a_month_has_the_days_that_pandas_gives_it(day):
    month = pd.Period(day, "M")
    (period,) = parse_periods([str(month)])
    assert (period.first, period.last) == (month.start_time.date(), month.end_time.date())


@given(st.data())
def test_seams_fall_into_the_periods_that_pandas_cuts(data):
    edges = sorted(data.draw(st.lists(st.dates(), min_size=4, max_size=4, unique=True)))
    texts = [f"{edges[0]}..{edges[1]}", f"{edges[2]}..{edges[3]}"]
    welded = np.array([np.datetime64(day, "s") + np.timedelta64(86_399, "s") for day in edges])
    names, inside = period_names(parse_periods(texts[::-1]), welded)
    assert names.tolist() == [texts[0], texts[0], texts[1], texts[1]]
    assert inside.all()


@pytest.mark.parametrize(
    ("texts", "says"),
    [
        (["2026"], "no period: '2026'"),
        (["2026-13"], "no period: '2026-13'"),
        (["2026-02-30"], "no period: '2026-02-30'"),
        (["2026-05.."], "no period: '2026-05..'"),
        ([""], "no period: ''"),
        (["9999-12"], "no period: '9999-12'"),
        (["2026-05..2026-04-30"], "ends before it begins"),
        (["2026-05", "2026-05-31..2026-06"], "share days"),
    ],
)
def test_what_is_no_period_is_refused_with_how_to_write_one(texts, says):
    with pytest.raises(BadInput, match="--period") as caught:
        parse_periods(texts)
    assert says in str(caught.value)


@pytest.mark.parametrize("days", [["2026-01-05", "2026-02-01"], []])
def test_a_period_without_a_seam_is_no_zero(days):
    with pytest.raises(BadInput, match="no decided seam was welded in 2026-03"):
        period_names(parse_periods(["2026-03"]), np.array(days, "datetime64[s]"))
