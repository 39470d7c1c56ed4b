"""The figures of an evaluation against those of a reader who has the CSV tables only.

Outside reference: pandas and statsmodels, in ``tests/pipeline/acceptance/independent_reader.py``.
"""

from __future__ import annotations

import importlib.util
from pathlib import Path
from types import ModuleType

import numpy as np
import pandas as pd
import pytest

from seamtell.pipeline.acceptance.detectors import Detector, FlawSize
from seamtell.pipeline.acceptance.record import AcceptanceRecord, Rival
from seamtell.pipeline.acceptance.sized_flaws import detections
from seamtell.pipeline.evaluation.files import read_acceptance
from seamtell.pipeline.evaluation.result import Scope

SCRIPT = Path(__file__).parents[2] / "acceptance" / "independent_reader.py"


@pytest.fixture(scope="module")
def reader() -> ModuleType:
    spec = importlib.util.spec_from_file_location("independent_reader", SCRIPT)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def folder(evaluated) -> Path:
    return evaluated[0].reports_dir / evaluated[1].model_id


@pytest.fixture(scope="module")
def record(folder: Path) -> AcceptanceRecord:
    return read_acceptance(folder)


def test_the_reader_knows_nothing_of_the_package() -> None:
    assert "seamtell" not in SCRIPT.read_text()


@pytest.mark.parametrize("scope", list(Scope))
def test_the_reader_counts_the_same_shares_with_the_same_intervals(evaluated, reader, folder, scope) -> None:
    rows, told = reader.read_scope(folder, scope), evaluated[1].scope(scope)
    recalls, precisions = reader.recalls(rows), reader.precisions(rows)
    pairs = [(one.recall, recalls[one.label]) for one in told.per_class if one.recall.n]
    pairs += [(one.precision, precisions[one.label]) for one in told.per_class if one.precision.n]
    pairs.append((told.abstention, reader.abstention(rows)))
    for ours, theirs in pairs:
        assert (ours.n, ours.count) == (theirs["n"], theirs["count"])
        assert (ours.estimate, ours.low, ours.high) == pytest.approx(
            (theirs["estimate"], theirs["low"], theirs["high"]), abs=1e-9
        )


@pytest.mark.parametrize("scope", list(Scope))
def test_the_reader_finds_the_same_agreement(evaluated, reader, folder, scope) -> None:
    rows, told = reader.read_scope(folder, scope), evaluated[1].scope(scope)
    assert told.macro_f1.estimate == pytest.approx(reader.macro_f1(rows), abs=1e-12)
    assert told.kappa.estimate == pytest.approx(reader.kappa(rows), abs=1e-12)


def test_the_reader_finds_the_same_weighted_kappa(reader, folder, record) -> None:
    costs = record.cost_table
    theirs = reader.weighted_kappa(
        reader.read_scope(folder, "held_out"), costs.missed_class, costs.wrong_class, costs.needless_cut
    )
    assert record.weighted_kappa.estimate == pytest.approx(theirs, abs=1e-12)


def test_the_reader_finds_the_same_simultaneous_bounds(reader, folder, record) -> None:
    known = [one for one in record.simultaneous if one.recall.n]
    theirs = reader.recalls(reader.read_scope(folder, "held_out"), alpha=0.05 / len(known))
    for one in known:
        assert (one.recall.low, one.recall.high) == pytest.approx(
            (theirs[one.label]["low"], theirs[one.label]["high"]), abs=1e-9
        )


def test_the_reader_finds_the_same_test_against_the_limit_rule(reader, folder, record) -> None:
    (ours,) = [
        one for one in record.comparisons if one.rival is Rival.LIMIT_RULE and one.figure == "detected"
    ]
    theirs = reader.against_limit_rule(reader.read_scope(folder, "held_out"))
    assert (ours.sections, ours.only_model, ours.only_rival) == (
        theirs["sections"],
        theirs["only_model"],
        theirs["only_rival"],
    )
    assert ours.p_exact == pytest.approx(theirs["p_exact"], rel=1e-9)
    assert ours.difference.estimate == pytest.approx(theirs["difference"], abs=1e-12)


def test_the_reader_fits_the_same_detection_curve_from_a_csv_of_its_points(reader, tmp_path: Path) -> None:
    # The small shop misses nothing, so the sized flaws are made up here.
    rng = np.random.default_rng(3)
    sizes = np.exp(rng.normal(-0.5, 0.6, 90))
    hits = rng.random(90) < 1 / (1 + np.exp(-(1.5 + 3 * np.log(sizes))))
    rows = pd.DataFrame(
        {
            "section_id": [f"X{i:03d}" for i in range(90)],
            "truth": "pinhole",
            "purpose": "random",
            **{size.value: np.nan for size in FlawSize},
            **{one.value: True for one in Detector},
        }
    )
    rows[FlawSize.WIDTH], rows[Detector.SPECULAR] = sizes, hits
    (ours,) = [
        one
        for one in detections(rows)
        if (one.label, one.detector, one.link) == ("pinhole", "specular", "logit")
    ]
    path = tmp_path / "points.csv"
    pd.DataFrame([point.model_dump() for point in ours.points]).to_csv(path, index=False)
    theirs = reader.detection_curve(pd.read_csv(path))
    assert ours.a50_mm == pytest.approx(theirs["a50_mm"], rel=1e-3)
    assert ours.a90_mm == pytest.approx(theirs["a90_mm"], rel=1e-3)
