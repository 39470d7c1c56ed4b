from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from seamtell.features import describer
from seamtell.features.contracts import RecipeLimits, SeamTrace
from seamtell.features.describer import (
    INDICATION_COLUMNS,
    analyse_seam,
    describe_seam,
    describe_table,
    view_indication,
)
from seamtell.features.descriptors.registry import ALL, names
from seamtell.features.indications import find_indications

X_MM = np.arange(0.0, 300.0, 0.5)
Array = np.ndarray


@pytest.fixture
def flawed(make_trace: Callable[..., SeamTrace], hump: Callable[..., Array]) -> SeamTrace:
    rng = np.random.default_rng(1)
    humps = hump(X_MM, 80.0, 30.0) + hump(X_MM, 200.0, 4.0)
    specular = 7.0 + humps + rng.normal(0.0, 0.3, len(X_MM))
    return make_trace(specular, np.abs(0.3 + 0.5 * humps + rng.normal(0.0, 0.15, len(X_MM))))


def test_analysis_holds_baseline_noise_and_indications(flawed: SeamTrace, limits: RecipeLimits) -> None:
    analysis = analyse_seam(flawed, limits)
    assert set(analysis.baseline_pct) == set(analysis.noise_pct) == {"specular", "scatter"}
    assert analysis.baseline_pct["specular"] == pytest.approx(7.0, abs=0.3)
    assert analysis.noise_pct["specular"] == pytest.approx(0.3, rel=0.15)
    assert analysis.indications == find_indications(flawed, limits)


def test_one_row_per_indication_and_one_column_per_descriptor(
    flawed: SeamTrace, limits: RecipeLimits
) -> None:
    analysis = analyse_seam(flawed, limits)
    values = describe_seam(analysis)
    assert values.shape == (2, len(ALL))
    for row, indication in zip(values, analysis.indications, strict=True):
        view = view_indication(analysis, indication)
        assert row.tolist() == [one(view) for one in ALL]


def test_heights_and_widths_of_a_known_hump(flawed: SeamTrace, limits: RecipeLimits) -> None:
    row = dict(zip(names(), describe_seam(analyse_seam(flawed, limits))[0], strict=True))
    # The moving average of a quarter beam lowers a Gaussian by 1.4 % and widens it by as much.
    assert row["specular_height_pct"] == pytest.approx(30.0 * 0.986, abs=0.5)
    assert row["specular_fwhm_mm"] == pytest.approx(9.4 * 1.014, rel=0.03)
    assert row["height_ratio_db"] == pytest.approx(20.0 * np.log10(2.0), abs=0.3)
    assert row["specular_baseline_level_pct"] == pytest.approx(7.0, abs=0.2)
    assert row["specular_over_limit"] > 1.7
    assert row["end_distance_mm"] == pytest.approx(72.0, abs=3.0)


def test_seam_without_indications_gives_no_rows(
    make_trace: Callable[..., SeamTrace], limits: RecipeLimits
) -> None:
    analysis = analyse_seam(make_trace(np.full(600, 7.0), np.full(600, 0.3)), limits)
    assert describe_seam(analysis).shape == (0, len(ALL))
    table = describe_table([analysis])
    assert table.shape == (0, len(INDICATION_COLUMNS) + len(ALL))


def test_table_has_the_stated_columns_and_types(flawed: SeamTrace, limits: RecipeLimits) -> None:
    table = describe_table(iter([analyse_seam(flawed, limits)]))
    assert tuple(table.columns) == INDICATION_COLUMNS + names()
    assert table["indication"].tolist() == [0, 1]
    assert table["channels"].tolist() == ["specular+scatter", "specular+scatter"]
    assert table["exceeded_channels"].tolist() == ["specular+scatter", ""]
    assert table["exceeds_limit"].tolist() == [True, False]
    assert all(table[name].dtype == np.float64 for name in names())


def test_window_stops_half_way_to_a_neighbour(
    make_trace: Callable[..., SeamTrace], hump: Callable[..., Array], limits: RecipeLimits
) -> None:
    both = hump(X_MM, 100.0, 10.0) + hump(X_MM, 130.0, 50.0)
    analysis = analyse_seam(make_trace(7.0 + both, 0.3 + both), limits)
    left, right = (view_indication(analysis, i) for i in analysis.indications)
    assert left.specular.position_mm[-1] <= right.specular.position_mm[0]
    assert left.neighbour_gaps_mm == pytest.approx(right.neighbour_gaps_mm)


@pytest.mark.parametrize(
    ("specular", "scatter"),
    [
        (np.full(600, 7.0), np.full(600, 0.3)),
        (np.zeros(600), np.zeros(600)),
        (np.full(600, 100.0), np.full(600, 100.0)),
        (np.array([7.0]), np.array([0.3])),
        (np.array([99.0]), np.array([0.0])),
        (np.array([7.0, 99.0]), np.array([99.0, 0.0])),
        (np.array([0.0, 100.0, 0.0]), np.zeros(3)),
        (np.where(np.arange(600) % 2, 100.0, 0.0), np.zeros(600)),
        (np.eye(1, 600, 300)[0] * 100.0, np.zeros(600)),
        (np.eye(1, 600, 0)[0] * 100.0, np.eye(1, 600, 599)[0] * 100.0),
        (np.clip(X_MM - 100.0, 0.0, 100.0), np.full(600, 5e-324)),
    ],
    ids=[
        "constant",
        "zero",
        "saturated",
        "one sample",
        "one sample above the limit",
        "two samples",
        "three samples",
        "alternating",
        "spike",
        "spikes at the ends",
        "ramp",
    ],
)
@pytest.mark.parametrize("pitch_mm", [0.1, 0.5, 2.0])
def test_every_descriptor_is_finite_whatever_the_trace(
    specular: Array,
    scatter: Array,
    pitch_mm: float,
    make_trace: Callable[..., SeamTrace],
    limits: RecipeLimits,
) -> None:
    trace = make_trace(specular, scatter, pitch_mm, thickness_mm=(np.nan, np.nan))
    analysis = analyse_seam(trace, limits)
    exceeded = {name for i in analysis.indications for name in i.exceeded_channels}
    assert exceeded == {
        name for name, limit in limits.limit_pct.items() if max(trace.amplitudes_pct[name]) > limit
    }
    assert np.isfinite(describe_seam(analysis)).all()


def test_describing_loads_neither_scikit_learn_nor_pandas() -> None:
    code = (
        "import sys, seamtell.features.describer; "
        "assert not {'sklearn', 'pandas'} & set(sys.modules), 'loaded too early'"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


def test_unknown_name_of_the_module_is_refused() -> None:
    unknown: Any = describer
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        unknown.nothing  # noqa: B018
