from __future__ import annotations

import csv
import shutil
from datetime import datetime, timedelta
from pathlib import Path

import pandas as pd
import pytest
from statsmodels.stats.proportion import proportion_confint

from seamtell.pipeline.classify import classify
from seamtell.pipeline.counted_decisions import read_decided
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.init import init_workspace
from seamtell.pipeline.mix import flaw_mix, raw_mix, write_mix_csv
from seamtell.pipeline.production.chosen_periods import PERIOD_COLUMN, parse_periods
from seamtell.pipeline.production.decided import ALL_SEAMS, ANSWERS
from seamtell.pipeline.store.seam_store import SeamStore
from seamtell.pipeline.train import TrainResult
from seamtell.pipeline.workspace import Workspace


@pytest.fixture(scope="module")
def decided(
    trained: tuple[Workspace, TrainResult], now: datetime, tmp_path_factory: pytest.TempPathFactory
) -> tuple[Workspace, Path]:
    ws = trained[0]
    return ws, classify(ws, out=tmp_path_factory.mktemp("mix") / "decisions", now=now).folder


def test_counts_are_those_of_the_labels_in_each_group(decided: tuple[Workspace, Path]) -> None:
    ws, folder = decided
    result = flaw_mix(ws, folder, "line")
    indications = pd.read_parquet(folder / "indications.parquet")
    line = SeamStore(ws.traces_dir).metadata().set_index("seam_id")["line"]
    expected = indications.groupby([line.loc[indications["seam_id"]].to_numpy(), "label"]).size().to_dict()
    counted = {(s.group, s.label): s.count for s in result.shares if s.group != ALL_SEAMS and s.count}
    assert counted == expected


def test_chosen_periods_hold_the_indications_of_their_days(decided: tuple[Workspace, Path]) -> None:
    ws, folder = decided
    welded = SeamStore(ws.traces_dir).metadata().set_index("seam_id")["welded_at"].dt.tz_localize(None)
    days = welded.dt.normalize().sort_values()
    first, middle, last = (days.iloc[k].date() for k in (0, len(days) // 2, -1))
    texts = [f"{first}..{middle - timedelta(days=1)}", f"{middle + timedelta(days=1)}..{last}"]
    chosen = read_decided(ws, folder).in_periods(parse_periods(texts))
    result = raw_mix(chosen.counted(PERIOD_COLUMN))
    indications = pd.read_parquet(folder / "indications.parquet")
    day = days.loc[indications["seam_id"]].dt.date.to_numpy()
    for text, own in zip(texts, (day < middle, day > middle), strict=True):
        counted = {s.label: s.count for s in result.shares if s.group == text and s.count}
        assert counted == indications[own]["label"].value_counts().to_dict()
    assert result.seams[ALL_SEAMS] == (days.dt.date != middle).sum()


def test_every_group_shows_every_flaw_with_sound_and_unclassified_beside_them(
    decided: tuple[Workspace, Path],
) -> None:
    result = flaw_mix(*decided, "shift")
    for group in (ALL_SEAMS, "early", "late"):
        shares = [s for s in result.shares if s.group == group]
        assert tuple(s.label for s in shares) == ANSWERS
        assert sum(s.share or 0 for s in shares) == pytest.approx(1.0)
    assert ANSWERS[-2:] == ("sound", "unclassified")


def test_intervals_are_the_exact_ones_of_clopper_and_pearson_in_statsmodels(
    decided: tuple[Workspace, Path],
) -> None:
    for one in flaw_mix(*decided, "line").shares:
        low, high = proportion_confint(one.count, one.n, alpha=0.05, method="beta")
        assert (one.low, one.high) == pytest.approx((low, high), abs=1e-9)


@pytest.mark.parametrize(
    "column", ["recipe", "coil", "month", "operator", "thickness_a_mm", "saturated", "week", "thickness_pair"]
)
def test_any_metadata_column_can_group(decided: tuple[Workspace, Path], column: str) -> None:
    result = flaw_mix(*decided, column)
    groups = {s.group for s in result.shares} - {ALL_SEAMS}
    assert sum(result.seams[group] for group in groups) == result.seams[ALL_SEAMS] == 130


def test_an_unknown_column_names_those_there_are(decided: tuple[Workspace, Path]) -> None:
    with pytest.raises(BadInput, match=r"no metadata column 'wether'.*choose one of .*line.*operator"):
        flaw_mix(*decided, "wether")


def test_a_group_without_an_indication_has_no_share_rather_than_zero(
    trained: tuple[Workspace, TrainResult], tmp_path: Path, now: datetime
) -> None:
    ws, _ = trained
    folder = classify(ws, seam_ids=["S0000"], out=tmp_path / "out", now=now).folder
    assert {(s.n, s.share, s.low) for s in flaw_mix(ws, folder).shares} == {(0, None, None)}


def test_the_newest_decisions_of_the_workspace_are_counted_when_none_are_named(
    shop_copy: Workspace, now: datetime
) -> None:
    classify(shop_copy, now=now)
    newer = classify(shop_copy, seam_ids=["S0001"], now=now.replace(hour=23))
    assert flaw_mix(shop_copy).folder == newer.folder


def test_a_workspace_without_decisions_says_to_classify(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match=r"no decisions yet.*seamtell classify"):
        flaw_mix(init_workspace(tmp_path / "ws"))


def test_a_folder_without_a_record_is_no_decisions(decided: tuple[Workspace, Path], tmp_path: Path) -> None:
    with pytest.raises(BadInput, match=r"no decision\.json here"):
        flaw_mix(decided[0], tmp_path)


@pytest.mark.parametrize("name", ["indications.parquet", "decisions.parquet", "decision.json"])
def test_damaged_decisions_are_one_line(decided: tuple[Workspace, Path], tmp_path: Path, name: str) -> None:
    ws, folder = decided
    copy = tmp_path / "copy"
    shutil.copytree(folder, copy)
    path = copy / name
    (path / "part-000000.parquet" if path.is_dir() else path).write_bytes(b"\x00garbage")
    with pytest.raises(BadInput, match=r"damaged decisions|not readable"):
        flaw_mix(ws, copy)


def test_no_cell_of_the_csv_starts_a_formula(decided: tuple[Workspace, Path], tmp_path: Path) -> None:
    path = tmp_path / "mix.csv"
    write_mix_csv(flaw_mix(*decided, "operator"), path)
    with path.open(newline="") as stream:
        rows = list(csv.reader(stream))
    assert rows[0] == ["operator", "label", "count", "indications", "share", "low_95", "high_95"]
    assert any("HYPERLINK" in row[0] for row in rows)
    assert not [cell for row in rows for cell in row if cell.startswith(("=", "+", "-", "@"))]
