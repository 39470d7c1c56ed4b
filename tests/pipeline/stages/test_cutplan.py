"""The stage *cutplan* on a small shop: what is written, what comes back, what is refused."""

from __future__ import annotations

import csv
import io
import json
import re
import shutil
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

from seamtell.features.contracts import SeamTrace
from seamtell.pipeline.classify import classify
from seamtell.pipeline.cli import app
from seamtell.pipeline.console import ExitCode
from seamtell.pipeline.cutting import drawn_plan, making
from seamtell.pipeline.cutting.making import make_cut_plan
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.store.planned_cuts import read_plan, read_planned_cuts
from seamtell.pipeline.store.sections import add_sections, read_sections
from seamtell.pipeline.store.writer import StoreWriter
from seamtell.pipeline.train import TrainResult
from seamtell.pipeline.workspace import Workspace

from .conftest import bumped_trace  # type: ignore[import-not-found]

MORE_SEAMS = range(130, 190)
BUDGET = 12


@pytest.fixture(scope="module")
def decided(
    trained: tuple[Workspace, TrainResult], now: datetime, tmp_path_factory: pytest.TempPathFactory
) -> Workspace:
    """The shop with sixty seams more that nobody has cut, all of them decided; do not change it."""
    folder = tmp_path_factory.mktemp("decided") / "ws"
    shutil.copytree(trained[0].root, folder)
    ws = Workspace(folder)
    writer = StoreWriter(ws.traces_dir)
    for number in MORE_SEAMS:
        writer.add(bumped_trace(number, np.random.default_rng(number))[0], "made in the test")
    writer.commit()
    classify(ws, now=now)
    return ws


@pytest.fixture
def shop(decided: Workspace, tmp_path: Path) -> Workspace:
    shutil.copytree(decided.root, tmp_path / "ws")
    return Workspace(tmp_path / "ws")


@pytest.fixture(scope="module")
def planned(
    decided: Workspace, now: datetime, tmp_path_factory: pytest.TempPathFactory
) -> making.CutPlanResult:
    folder = tmp_path_factory.mktemp("planned") / "ws"
    shutil.copytree(decided.root, folder)
    return make_cut_plan(Workspace(folder), BUDGET, now=now)


def form_rows(result: making.CutPlanResult) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(result.form.read_text())))


def write_form(path: Path, rows: list[dict[str, str]]) -> Path:
    with path.open("w", newline="") as stream:
        writer = csv.DictWriter(stream, fieldnames=list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    return path


def filled(rows: list[dict[str, str]]) -> list[dict[str, str]]:
    return [{**row, "position_tol_mm": "1", "flaw": "sound", "examiner": "A"} for row in rows]


def test_the_plan_keeps_the_budget_and_the_share_of_random_cuts(planned: making.CutPlanResult) -> None:
    purposes = [cut.purpose.value for cut in planned.plan.cuts]
    assert len(purposes) == BUDGET
    assert purposes.count("random") == round(BUDGET * 0.2)
    assert len({cut.section_id for cut in planned.plan.cuts}) == BUDGET


def test_what_the_plan_should_bring_adds_up_to_the_cuts_on_which_the_model_spoke(
    planned: making.CutPlanResult,
) -> None:
    ws = Workspace(planned.folder.parents[1])
    indications = pd.concat(pd.read_parquet(path) for path in ws.decisions_dir.glob("*/indications.parquet"))
    rows = indications.set_index(["seam_id", "indication"])
    chosen = [(cut.seam_id, cut.indication) for cut in planned.plan.cuts if cut.indication is not None]
    assert len(planned.plan.expected) == 5
    for one in planned.plan.expected:
        assert one.expected == pytest.approx(rows.loc[chosen, f"p_{one.label}"].sum(), abs=0.01)


def test_no_seam_that_is_cut_already_is_planned(planned: making.CutPlanResult) -> None:
    ws = Workspace(planned.folder.parents[1])
    assert not {cut.seam_id for cut in planned.plan.cuts} & set(read_sections(ws)["seam_id"])


def test_the_stored_probabilities_add_up_to_the_planned_cuts_and_are_those_of_the_cuts(
    planned: making.CutPlanResult,
) -> None:
    table = pd.read_parquet(planned.folder / making.PROBABILITIES_FILE)
    chosen = [cut for cut in planned.plan.cuts if cut.purpose.value == "planned"]
    assert table["selection_probability"].sum() == pytest.approx(len(chosen))
    stored = table.set_index(["seam_id", "indication"])["selection_probability"]
    for cut in chosen:
        assert cut.selection_probability == pytest.approx(stored[cut.seam_id, cut.indication])


def test_the_same_seed_plans_the_same_cuts_and_another_one_others(shop: Workspace, now: datetime) -> None:
    first, again, other = (make_cut_plan(shop, BUDGET, now=now, seed=seed).plan for seed in (5, 5, 6))
    places = [[(cut.seam_id, cut.position_mm) for cut in plan.cuts] for plan in (first, again, other)]
    assert places[0] == places[1] != places[2]
    assert (first.plan_id, again.plan_id) == ("cutplan-0001", "cutplan-0002")


def test_the_sheets_have_one_section_a_cut_and_do_not_tell_what_the_classifier_answered(
    planned: making.CutPlanResult,
) -> None:
    page = (planned.folder / making.SHEETS_FILE).read_text()
    assert page.count('<section class="sheet"') == BUDGET
    for cut in planned.plan.cuts:
        assert cut.seam_id in page
        assert f"at {cut.position_mm:.1f} mm from the seam start" in page
    drawn = " ".join(re.findall(r"<svg.*?</svg>", page, re.S))
    assert not re.search("pinhole|mismatch|lack of fusion|edge notch", drawn)
    assert "nothing printed here releases a weld" in page
    assert "<script" not in page


@pytest.mark.browser
def test_axe_finds_nothing_wrong_with_the_cut_sheets(
    browser: Any, planned: making.CutPlanResult, violations: Callable[[Any], list[str]]
) -> None:
    page = browser.new_page(bypass_csp=True)
    page.goto((planned.folder / making.SHEETS_FILE).as_uri())
    assert violations(page) == []
    page.close()


def test_a_filled_form_comes_back_as_sections_with_their_purpose_and_probability(
    shop: Workspace, now: datetime, tmp_path: Path
) -> None:
    result = make_cut_plan(shop, BUDGET, now=now)
    report = add_sections(shop, write_form(tmp_path / "form.csv", filled(form_rows(result))))
    assert (report.added, report.rejected) == (BUDGET, 0)
    stored = read_sections(shop).set_index("section_id")
    for cut in result.plan.cuts:
        assert stored.loc[cut.section_id, "purpose"] == cut.purpose.value
    kept = read_planned_cuts(shop).selection_probabilities()
    assert set(kept) == {cut.section_id for cut in result.plan.cuts if cut.purpose.value == "planned"}


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"seam_id": "S0001"}, "was planned on seam"),
        ({"purpose": "targeted"}, "was planned as"),
        ({"position_mm": "2"}, "got position 2 mm"),
        ({"flaw": ""}, "flaw '' is not one of"),
        ({"depth_mm": "1,5"}, "decimal comma"),
    ],
)
def test_a_changed_row_of_the_form_is_refused_and_the_others_are_taken(
    shop: Workspace, now: datetime, tmp_path: Path, change: dict[str, str], told: str
) -> None:
    result = make_cut_plan(shop, BUDGET, now=now)
    rows = filled(form_rows(result))
    rows[0] = {**rows[0], **change}
    report = add_sections(shop, write_form(tmp_path / "form.csv", rows))
    assert (report.added, report.rejected) == (BUDGET - 1, 1)
    assert told in report.rows[0].message


@pytest.mark.parametrize(
    ("budget", "told"),
    [(0, "got a budget of 0, expected at least 1"), (10_000, "but only 70 seams are not cut yet")],
)
def test_a_budget_of_nothing_or_beyond_the_seams_is_refused(
    shop: Workspace, now: datetime, budget: int, told: str
) -> None:
    with pytest.raises(BadInput, match=told):
        make_cut_plan(shop, budget, now=now)
    assert not shop.cut_plans_dir.exists()


def test_without_decisions_there_is_no_plan(shop_copy: Workspace, now: datetime) -> None:
    shutil.rmtree(shop_copy.decisions_dir, ignore_errors=True)
    with pytest.raises(BadInput, match="no decisions yet"):
        make_cut_plan(shop_copy, 5, now=now)


def test_when_every_seam_is_cut_there_is_no_plan(
    shop: Workspace, now: datetime, tmp_path: Path, make_trace: Callable[[int], tuple[SeamTrace, str, float]]
) -> None:
    uncut = [f"S{n:04d}" for n in range(190) if n >= 130 or n % 13 == 0]
    rows = [
        {
            "section_id": f"Z{i}",
            "seam_id": seam,
            "position_mm": "150",
            "position_tol_mm": "1",
            "flaw": "sound",
        }
        for i, seam in enumerate(uncut)
    ]
    add_sections(shop, write_form(tmp_path / "all.csv", [{**row, "purpose": "random"} for row in rows]))
    with pytest.raises(BadInput, match="every seam of the decisions is cut already"):
        make_cut_plan(shop, 5, now=now)


def test_a_plan_that_was_cut_short_leaves_nothing_and_the_next_one_takes_its_number(
    shop: Workspace, now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as patch:
        patch.setattr(making, "cut_sheets", lambda *_: (_ for _ in ()).throw(KeyboardInterrupt))
        with pytest.raises(KeyboardInterrupt):
            make_cut_plan(shop, BUDGET, now=now)
    assert not read_planned_cuts(shop).by_section
    result = make_cut_plan(shop, BUDGET, now=now)
    assert result.plan.plan_id == "cutplan-0001"
    assert [path.name for path in shop.cut_plans_dir.iterdir()] == ["cutplan-0001"]
    assert read_plan(result.folder) == result.plan


def test_of_very_many_seams_some_are_looked_at_and_the_probabilities_still_add_up(
    shop: Workspace, now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(drawn_plan, "LOOKED_AT", 30)
    result = make_cut_plan(shop, BUDGET, now=now)
    chosen = [cut for cut in result.plan.cuts if cut.purpose.value == "planned"]
    # Horvitz-Thompson: the inverse probabilities of the cuts estimate the number of indications.
    estimates = []
    for seed in range(8):
        plan = make_cut_plan(shop, BUDGET, now=now, seed=seed).plan
        estimates.append(sum(1 / c.selection_probability for c in plan.cuts if c.purpose.value == "planned"))
    assert len(chosen) == BUDGET - round(BUDGET * 0.2)
    error = np.std(estimates, ddof=1) / np.sqrt(len(estimates))
    assert abs(np.mean(estimates) - result.plan.indications) < 4 * error


def test_the_command_prints_json_that_names_every_cut_and_says_what_is_wrong(shop: Workspace) -> None:
    runner = CliRunner()
    done = runner.invoke(app, ["cutplan", "--budget", "4", "--json", "-w", str(shop.root)])
    document = json.loads(done.stdout)
    assert done.exit_code == ExitCode.DONE
    assert len(document["cuts"]) == 4
    refused = runner.invoke(app, ["cutplan", "--budget", "0", "-w", str(shop.root)])
    assert isinstance(refused.exception, BadInput)


def test_the_command_ends_with_the_caution_and_the_next_step(shop: Workspace) -> None:
    done = CliRunner().invoke(app, ["cutplan", "--budget", "4", "-w", str(shop.root)])
    lines = done.stdout.strip().splitlines()
    assert lines[-2].startswith("caution:")
    assert lines[-1].startswith("Next: print cutplans/cutplan-0001/cutsheets.html")
