"""The stage *process* on a small shop: what is gathered agrees with other commands, and the page works."""

from __future__ import annotations

import json
import shutil
from collections import Counter
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from typer.testing import CliRunner, Result

from seamtell.pipeline import corrected_mix as corrected
from seamtell.pipeline.classify import classify
from seamtell.pipeline.cli import app
from seamtell.pipeline.console import CAUTION, ExitCode
from seamtell.pipeline.corrected_mix import corrected_mix
from seamtell.pipeline.counted_decisions import read_decided
from seamtell.pipeline.cutting.making import make_cut_plan
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.evaluate import evaluate
from seamtell.pipeline.health.drift import drift
from seamtell.pipeline.init import init_workspace
from seamtell.pipeline.process_page.view import ALL, ProcessView
from seamtell.pipeline.process_report import ProcessReport, make_process_page
from seamtell.pipeline.store.sections import add_sections
from seamtell.pipeline.store.writer import StoreWriter
from seamtell.pipeline.train import TrainResult
from seamtell.pipeline.workspace import Workspace

from .conftest import bumped_trace  # type: ignore[import-not-found]

MORE_SEAMS = range(130, 190)


@pytest.fixture(scope="module", autouse=True)
def _fewer_draws() -> Iterator[None]:
    """Of the confusion matrix: these tests are not about the width of intervals."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(corrected, "DRAWS", 200)
        yield


@pytest.fixture(scope="module")
def shop(
    trained: tuple[Workspace, TrainResult], now: datetime, tmp_path_factory: pytest.TempPathFactory
) -> Workspace:
    """An approved and evaluated shop with decisions, a cut plan and a drift sequence; do not change it."""
    folder = tmp_path_factory.mktemp("process") / "ws"
    shutil.copytree(trained[0].root, folder)
    ws = Workspace(folder)
    evaluate(ws, trained[1].model_id, now=now)
    writer = StoreWriter(ws.traces_dir)
    for number in MORE_SEAMS:
        writer.add(bumped_trace(number, np.random.default_rng(number))[0], "made in the test")
    writer.commit()
    classify(ws, now=now)
    make_cut_plan(ws, 6, now=now)
    drift(ws, now=now + timedelta(days=90))
    return ws


@pytest.fixture(scope="module")
def report(shop: Workspace, now: datetime) -> ProcessReport:
    return make_process_page(shop, now=now)


@pytest.fixture(scope="module")
def view(report: ProcessReport) -> ProcessView:
    return report.view


def call(ws: Workspace, *words: str) -> Result:
    return CliRunner().invoke(app, [*words, "--workspace", str(ws.root)])


def test_the_labels_of_lines_and_months_add_up_to_those_of_all(view: ProcessView) -> None:
    whole = {row.label: row.raw for row in view.mix if row.line == row.recipe == row.period == ALL}
    assert sum(whole.values()) + view.smaller == view.indications
    assert 0 < view.smaller < 0.2 * view.indications
    by_line, by_month, by_week, along = Counter[str](), Counter[str](), Counter[str](), Counter[str]()
    for row in view.mix:
        if row.line != ALL and row.recipe == row.period == ALL:
            by_line[row.label] += row.raw
        if row.line == row.recipe == ALL and row.period != ALL:
            by_month[row.label] += row.raw
    for week in view.weeks:
        if week.line == week.recipe == ALL:
            by_week[week.label] += week.flaws
    for place in view.places:
        if place.measured == "relative":
            along[place.label] += place.count
    assert by_line == by_month == Counter(whole)
    # Charts and places are of labels as they were given, whatever the height.
    assert by_week.total() == along.total() == view.indications
    assert by_week == along + Counter(dict.fromkeys(by_week, 0))


def test_the_page_shows_the_corrected_mix_of_the_mix_command(shop: Workspace, view: ProcessView) -> None:
    mix = corrected_mix(shop, read_decided(shop))
    shown = {
        row.label: row.share for row in view.mix if (row.line, row.recipe, row.period) == (ALL, ALL, ALL)
    }
    for one in mix.groups[0].flaws:
        expected = one.share_of_indications.estimate
        assert shown[one.label] == (None if expected is None else pytest.approx(expected, abs=1e-9))
    assert view.answer[0].split(":")[0].split(" (")[0] == mix.answer.split(":")[0].split(" (")[0]


def test_the_page_names_the_open_cuts_until_their_sections_come_back(
    shop: Workspace, view: ProcessView, now: datetime, tmp_path: Path
) -> None:
    assert len(view.cuts) == 6
    assert view.cuts_note.endswith("0 have come back.")
    assert {cut.seam_id for cut in view.cuts} <= set(view.pictures)
    copy = Workspace(tmp_path / "ws")
    shutil.copytree(shop.root, copy.root)
    form = next(copy.cut_plans_dir.glob("*/form.csv"))
    head, first, *_ = form.read_text().splitlines()
    row = dict(zip(head.split(","), first.split(","), strict=True))
    row |= {"position_tol_mm": "1", "flaw": "sound", "examiner": "A"}
    table = tmp_path / "back.csv"
    table.write_text(f"{head}\n{','.join(row.values())}\n")
    added = add_sections(copy, table)
    assert added.rejected == 0, added
    later = make_process_page(copy, now=now).view
    assert len(later.cuts) == 5
    assert later.cuts_note.endswith("1 have come back.")


def test_drift_that_was_looked_at_is_told(view: ProcessView) -> None:
    assert [sentence.split(",")[0] for sentence in view.drift] == ["Drift of line L1", "Drift of line L2"]


def test_a_mark_names_a_seam_that_is_drawn(view: ProcessView) -> None:
    # The made-up shop has its flaws in the middle of every seam, which is a mark.
    assert view.marks
    for mark in view.marks:
        assert mark.from_mm >= 80.0
        assert mark.to_mm <= 220.0
        assert mark.example in view.pictures


def test_the_command_answers_first_and_names_the_page(shop: Workspace, tmp_path: Path) -> None:
    result = call(shop, "process", "--out", str(tmp_path / "page.html"))
    assert result.exit_code == ExitCode.DONE
    lines = result.stdout.splitlines()
    assert "the most frequent" in lines[0]
    assert CAUTION in result.stdout.replace("\n", " ")
    assert lines[-1].startswith("Next: open ")
    assert (tmp_path / "page.html").stat().st_size > 100_000


def test_the_command_gives_one_json_document(shop: Workspace, view: ProcessView, tmp_path: Path) -> None:
    result = call(shop, "process", "--json", "--out", str(tmp_path / "page.html"))
    document = json.loads(result.stdout)
    assert document["indications"] == view.indications
    assert len(document["cuts"]) == 6
    assert {row["by"] for row in document["groups"]} >= {"line", "shift", "operator", "coil"}


def test_without_decisions_it_says_to_classify(tmp_path: Path) -> None:
    ws = init_workspace(tmp_path / "ws")
    with pytest.raises(BadInput, match=r"no decisions yet.*seamtell classify"):
        make_process_page(ws, now=datetime.fromisoformat("2026-05-04T00:00+00:00"))


def test_decisions_without_a_model_are_shown_with_the_reason(
    untrained_shop: Workspace, now: datetime, tmp_path: Path
) -> None:
    ws = Workspace(tmp_path / "ws")
    shutil.copytree(untrained_shop.root, ws.root)
    classify(ws, now=now)
    view = make_process_page(ws, now=now).view
    assert view.model == "no model"
    assert any("not corrected" in warning for warning in view.warnings)
    assert all(row.share is None for row in view.mix)


@pytest.mark.browser
def test_the_gathered_page_has_no_complaints_and_axe_finds_nothing_wrong(
    browser: Any, report: ProcessReport, violations: Callable[[Any], list[str]]
) -> None:
    page = browser.new_page(bypass_csp=True)
    complaints: list[str] = []
    page.on("console", lambda message: complaints.append(message.text))
    page.on("pageerror", lambda problem: complaints.append(str(problem)))
    page.goto(report.path.as_uri())
    page.wait_for_selector("html[data-ready=yes]", state="attached")
    for name, choice in (("flaw", "unclassified"), ("by", "coil"), ("measured", "relative"), ("line", "L2")):
        page.select_option(f"#{name}", choice)
    page.wait_for_function("document.getElementById('choice').textContent.startsWith('line L2')")
    page.click("[data-seam] >> nth=0")
    assert page.locator(".seam-picture svg").first.is_visible()
    assert complaints == []
    page.eval_on_selector_all("details", "all => all.forEach(one => { one.open = true; })")
    assert violations(page) == []
    page.close()
