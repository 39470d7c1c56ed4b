"""Pure parts of the speed tables: growth, ratios, and what a big store is made of."""

from __future__ import annotations

import json
import sys
from datetime import timedelta
from itertools import pairwise
from pathlib import Path
from types import ModuleType

import numpy as np
import pyarrow as pa
import pytest
from scipy import stats

BENCHMARKS = Path(__file__).parents[2] / "benchmarks"


@pytest.fixture(scope="module")
def speed() -> dict[str, ModuleType]:
    """The modules of the benchmarks, which are scripts and no part of the package."""
    sys.path.insert(0, str(BENCHMARKS))
    import big_store
    from speed import growth, kernel_split, outside, ratios, tables, timing

    sys.path.remove(str(BENCHMARKS))
    modules = (big_store, growth, kernel_split, outside, ratios, tables, timing)
    return {module.__name__.split(".")[-1]: module for module in modules}


def test_the_slope_of_growth_is_that_of_scipy(speed):
    rng = np.random.default_rng(5)
    sizes = np.array([100, 316, 1_000, 3_162, 10_000])
    seconds = 2e-5 * sizes**1.07 * np.exp(rng.normal(0.0, 0.03, len(sizes)))
    found = speed["growth"].fitted_growth("seams", sizes, seconds)
    # scipy.stats.linregress on the logarithms.
    assert found.slope == pytest.approx(stats.linregress(np.log(sizes), np.log(seconds)).slope, abs=1e-6)


def test_a_cost_with_the_power_one_and_a_half_is_ten_times_in_excess_over_two_decades(speed):
    sizes = np.array([10, 100, 1_000])
    assert speed["growth"].fitted_growth("seams", sizes, sizes**1.5).excess == pytest.approx(9.0)


@pytest.mark.parametrize("seconds", [[1.0, 0.0], [1.0, -1.0], [1.0]])
def test_growth_refuses_times_that_are_none(speed, seconds):
    with pytest.raises(ValueError, match="expected two or more pairs above zero"):
        speed["growth"].fitted_growth("seams", [10, 100], seconds)


def test_a_rate_is_the_work_over_the_least_time(speed, monkeypatch):
    timing = speed["timing"]
    seconds = iter([9.0, 0.5, 0.2, 0.4])  # the first run is not counted
    clock = [0.0]

    def work():
        clock[0] += next(seconds)

    monkeypatch.setattr(timing.time, "perf_counter", lambda: clock[0])
    row = timing.measured("kernel", "describe", "seams/s", 100, work, runs=3)
    assert (row.best, row.median) == (pytest.approx(500.0), pytest.approx(250.0))


def measured(speed, **rates):
    return [speed["timing"].Measured(key, key, "seams/s", rate, rate, 5) for key, rate in rates.items()]


def test_a_ratio_needs_both_of_its_rows(speed):
    found = speed["ratios"].ratios_of(measured(speed, kernel=60_000.0, scipy=1_500.0))
    assert [(ratio.name, ratio.value, ratio.must) for ratio in found] == [("kernel/scipy", 40.0, 34.0)]


@pytest.mark.parametrize(("now", "fallen"), [(34.1, 0), (33.9, 1), (80.0, 0)])
def test_a_fall_of_more_than_fifteen_percent_is_named(speed, now, fallen):
    ratio = speed["ratios"].Ratio("kernel/scipy", "describe over the SciPy loop", now)
    found = speed["ratios"].falls([ratio], {"kernel/scipy": 40.0, "gone/away": 3.0})
    assert len(found) == fallen
    assert all(
        f.in_words() == "warning: describe over the SciPy loop: 33.9, committed 40, 15 % lower" for f in found
    )


def test_results_without_ratios_are_nothing_to_compare_with(speed, tmp_path):
    path = tmp_path / "results.json"
    assert speed["tables"].committed_ratios(path) == {}
    path.write_text(json.dumps({"rows": []}))
    assert speed["tables"].committed_ratios(path) == {}


def test_a_library_without_its_environment_is_stated_as_not_measured(speed, tmp_path):
    rows = speed["outside"].outside_rows(None, tmp_path / "bin/python")
    assert [type(row).__name__ for row in rows] == ["NotMeasured", "NotMeasured"]
    assert "could not be installed" in rows[0].why


def test_parts_of_a_big_store_cover_every_seam_and_cross_no_month(speed):
    big_store = speed["big_store"]
    parts = list(big_store.parts_of(1_000_000, 8_192))
    assert sum(part.seams for part in parts) == 1_000_000
    for part, following in pairwise(parts):
        assert following.first == part.first + part.seams
        last = part.welded_at + (part.seams - 1) * big_store.STEP
        assert f"month={last:%Y-%m}/" in part.path
        assert following.welded_at - last == timedelta(seconds=4)


def test_repeated_rows_have_names_and_digests_of_their_own(speed):
    text, stamp = pa.string(), pa.timestamp("us", tz="UTC")
    columns = {"seam_id": text, "welded_at": stamp, "line": text, "content_sha256": text}
    base = pa.table({name: pa.array([None, None], kind) for name, kind in columns.items()})
    base = base.append_column("ch_specular", pa.array([[1.0], [2.0]], pa.list_(pa.float32())))
    rows = speed["big_store"].repeated(base, first=7, seams=5)
    assert rows["ch_specular"].to_pylist() == [[1.0], [2.0], [1.0], [2.0], [1.0]]
    assert rows["seam_id"].to_pylist()[0] == "B0000000007"
    assert all(len(set(rows[name].to_pylist())) == 5 for name in ("seam_id", "welded_at", "content_sha256"))


def test_the_loop_of_the_kernel_still_has_the_steps_that_the_split_names(speed):
    tree = speed["kernel_split"].stopping_source()
    assert [tree.count(f"if stop >= {step}") for step in range(1, 7)] == [0, 3, 1, 2, 1, 0]
