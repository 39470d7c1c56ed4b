"""The demo is the whole job, so its test is: one small shop, from traces to decisions."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from seamtell.data_synth.shop_plan import ShopPlan
from seamtell.features.descriptors.registry import model_names
from seamtell.pipeline.ceiling import SimulationPart, simulated_rows
from seamtell.pipeline.commands.demo import demo_rows
from seamtell.pipeline.decisions.files import read_decisions
from seamtell.pipeline.demo import DemoResult, free_folder, run_demo
from seamtell.pipeline.demo_plan import DemoPlan
from seamtell.pipeline.health.standing import suspensions_of
from seamtell.pipeline.health.summary import health_document
from seamtell.pipeline.settings import Settings, read_settings
from seamtell.pipeline.store.seam_store import SeamStore

NOW = datetime(2025, 9, 1, tzinfo=UTC)


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> DemoResult:
    plan = DemoPlan(seams=420, sections=150, seed=4, ceiling_sections=300, implanted_per_class=40, workers=1)
    return run_demo(tmp_path_factory.mktemp("demo") / "shop", plan, now=NOW)


def test_every_report_that_the_demo_names_is_there(demo: DemoResult) -> None:
    assert len(demo.reports) == 7
    assert all(path.stat().st_size > 200 for path in demo.reports)


def test_every_stage_states_its_time_and_memory(demo: DemoResult) -> None:
    assert len(demo.costs) == 14
    assert all(one.seconds > 0 and one.peak_mib > 50 for one in demo.costs)


def test_the_figures_name_every_candidate_the_ceiling_and_the_limit_rule(demo: DemoResult) -> None:
    rows = dict(demo_rows(demo))
    text = " ".join(rows)
    for word in ("hand rule", "logistic", "LightGBM", "ceiling", "limit rule alone", "unclassified"):
        assert word in text
    assert all("[" in value or "unknown" in value for value in rows.values())


def test_the_first_model_had_no_section_and_is_judged_on_those_that_came_later(demo: DemoResult) -> None:
    assert demo.day_one.simulated_flaws > 100
    assert demo.day_one.macro_f1.n == demo.evaluation.held_out.macro_f1.n
    assert demo.day_one.macro_f1.estimate is not None
    assert 0.2 < demo.day_one.macro_f1.estimate < 0.97


def test_no_model_is_perfect_on_the_invented_shop(demo: DemoResult) -> None:
    assert demo.ceiling is not None
    assert demo.ceiling.training_sections >= 300
    assert demo.ceiling.macro_f1.estimate is not None
    assert demo.ceiling.macro_f1.estimate < 0.97


def test_a_refused_approval_leaves_the_limit_rule_alone_and_says_so(demo: DemoResult) -> None:
    # So few sections cannot meet the criteria; the demo must not sign all the same.
    assert demo.approval is None
    assert "criteria failed" in demo.refusal
    indications, seams, record = read_decisions(demo.decisions.folder)
    assert record.model_digest == ""
    assert set(indications["label"]) == {"unclassified"}
    assert set(seams["verdict"]) <= {"accept", "reject"}


def test_the_decisions_are_those_of_the_newest_month(demo: DemoResult) -> None:
    _, seams, _ = read_decisions(demo.decisions.folder)
    listed = pd.read_csv(demo.folder / "shop" / "sections.csv", usecols=["seam_id"])
    assert 0 < len(seams) < 420
    assert len(listed) == 150


def test_every_head_was_checked_every_week_and_no_label_suspended_for_it(demo: DemoResult) -> None:
    document = health_document(demo.workspace)
    weeks = ShopPlan().days // 7
    for line in ("L1", "L2"):
        assert len({row["at"] for row in document["checks"] if row["line"] == line}) == weeks
        assert line in document["drift"]
    assert not {row["state"] for row in document["checks"]} & {"stop"}
    ws = demo.workspace
    last: datetime = SeamStore(ws.traces_dir).metadata()["welded_at"].max().to_pydatetime()
    assert suspensions_of(ws, read_settings(ws.settings_path).health, now=last)[1] == ()


def test_parts_of_the_ceiling_do_not_depend_on_one_another() -> None:
    def rows(part: int) -> tuple[np.ndarray, np.ndarray]:
        return simulated_rows(SimulationPart(ShopPlan(), Settings(), model_names(), 9, 60, part, 3))

    together, alone = [rows(part) for part in range(3)], rows(1)
    np.testing.assert_array_equal(together[1][0], alone[0])
    assert together[1][1].tolist() == alone[1].tolist()
    assert sum(len(truths) for _, truths in together) > 10


def test_an_older_demo_is_never_overwritten(tmp_path: Path) -> None:
    (tmp_path / "demo").mkdir()
    assert free_folder(tmp_path / "demo") == tmp_path / "demo"
    (tmp_path / "demo" / "mine.txt").write_text("kept")
    assert free_folder(tmp_path / "demo") == tmp_path / "demo-2"
    (tmp_path / "demo-2").touch()
    assert free_folder(tmp_path / "demo") == tmp_path / "demo-3"
