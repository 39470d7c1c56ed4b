"""The stage *retrain* on a small shop: from a section file to a candidate, and never farther."""

from __future__ import annotations

import csv
import shutil
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.retrain import making
from seamtell.pipeline.retrain.making import RetrainResult, retrain
from seamtell.pipeline.sign_off.approval_log import approved_model, read_log
from seamtell.pipeline.store.sections import read_sections
from seamtell.pipeline.store.writer import StoreWriter
from seamtell.pipeline.tracking import runs as tracking
from seamtell.pipeline.train import TrainResult
from seamtell.pipeline.workspace import Workspace

from .conftest import bumped_trace  # type: ignore[import-not-found]

NEW_SEAMS = range(130, 175)
BAD_ROWS = 2


def with_new_seams(trained: tuple[Workspace, TrainResult], folder: Path) -> tuple[Workspace, Path]:
    """A copy of the approved shop with newer seams, and a file of their sections with two bad rows."""
    shutil.copytree(trained[0].root, folder / "ws")
    ws = Workspace(folder / "ws")
    writer = StoreWriter(ws.traces_dir)
    rows = []
    for number in NEW_SEAMS:
        trace, label, centre = bumped_trace(number, np.random.default_rng(number))
        writer.add(trace, "made in the test")
        if label:
            rows.append([f"N{number}", trace.seam_id, f"{centre:.1f}", "2", label, "random"])
    writer.commit()
    rows += [
        ["N900", "no such seam", "1", "1", "sound", "random"],
        ["N901", "S0131", "1", "1", "?", "random"],
    ]
    file = folder / "new.csv"
    with file.open("w", newline="") as stream:
        names = ["section_id", "seam_id", "position_mm", "position_tol_mm", "flaw", "purpose"]
        csv.writer(stream).writerows([names, *rows])
    return ws, file


@pytest.fixture(scope="module")
def retrained(
    trained: tuple[Workspace, TrainResult], now: datetime, tmp_path_factory: pytest.TempPathFactory
) -> tuple[Workspace, Path, RetrainResult, list[str]]:
    """A run that was killed after the training, and gone on with by the next; do not change it."""
    ws, file = with_new_seams(trained, tmp_path_factory.mktemp("retrained"))
    steps: list[str] = []
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(tracking, "push", lambda *_: None)
        with pytest.MonkeyPatch.context() as killed:
            killed.setattr(making, "evaluate", lambda *_, **__: (_ for _ in ()).throw(KeyboardInterrupt))
            with pytest.raises(KeyboardInterrupt):
                retrain(ws, file, now=now)
        result = retrain(ws, file, now=now, on_step=steps.append)
    return ws, file, result, steps


Retrained = tuple[Workspace, Path, RetrainResult, list[str]]


def test_a_run_that_was_cut_short_is_gone_on_with_and_trains_no_second_model(retrained: Retrained) -> None:
    ws, _, result, steps = retrained
    assert result.resumed
    assert "training" not in steps
    assert sorted(path.name for path in ws.models_dir.glob("m-*")) == ["m-0001", "m-0002"]


def test_bad_rows_are_kept_aside_and_the_rest_is_taken_in(retrained: Retrained) -> None:
    ws, _, result, _ = retrained
    assert result.sections.rejected == BAD_ROWS
    assert (
        sum(str(name).startswith("N") for name in read_sections(ws)["section_id"])
        == result.sections.unchanged
    )


def test_what_comes_out_is_a_candidate_and_the_approved_model_stays(retrained: Retrained) -> None:
    ws, _, result, _ = retrained
    approved = approved_model(ws)
    assert approved is not None
    assert (approved.model_id, result.record.model_id) == ("m-0001", "m-0002")
    assert len(read_log(ws)) == 1


def test_the_dossier_and_the_page_are_there_and_say_the_caution(retrained: Retrained) -> None:
    _, _, result, _ = retrained
    assert (result.dossier / "dossier.html").is_file()
    assert (result.dossier / "dossier.pdf").is_file()
    page = result.page.read_text()
    assert result.record.sentence.split(":")[0] in page
    assert "nothing printed here releases a weld" in page
    assert "<script" not in page


def test_both_models_are_compared_on_sections_that_neither_trained_on(retrained: Retrained) -> None:
    from seamtell.pipeline.evaluation.scopes import read_split

    ws, _, result, _ = retrained
    held_out, newest = result.record.shared
    splits = [read_split(ws.models_dir / name) for name in ("m-0001", "m-0002")]
    trained_on = {name for split in splits for name in split.training_section_ids}
    new = {str(name) for name in read_sections(ws)["section_id"] if str(name).startswith("N")}
    assert 0 < newest.sections <= len(new - trained_on)
    assert newest.sections <= held_out.sections
    for part in (held_out, newest):
        everything, *classes = part.classes
        assert everything.candidate.n == part.sections == sum(one.candidate.n for one in classes)
        assert everything.only_candidate == sum(one.only_candidate for one in classes)


def test_the_same_sections_once_more_are_refused_and_nothing_is_trained(
    retrained: Retrained, now: datetime
) -> None:
    ws, file, _, _ = retrained
    with pytest.raises(BadInput, match="nothing is new: 'm-0002' was retrained from these very sections"):
        retrain(ws, file, now=now)
    assert not (ws.models_dir / "m-0003").exists()


def test_a_file_that_cannot_be_read_changes_nothing(
    shop_copy: Workspace, tmp_path: Path, now: datetime
) -> None:
    file = tmp_path / "no.csv"
    file.write_text("a;b\n1;2\n")
    with pytest.raises(BadInput, match="no column 'section_id'"):
        retrain(shop_copy, file, now=now)
    assert not (shop_copy.models_dir / "m-0002").exists()


@pytest.mark.browser
def test_axe_finds_nothing_wrong_with_the_page(
    browser: Any, retrained: Retrained, violations: Callable[[Any], list[str]]
) -> None:
    page = browser.new_page(bypass_csp=True)
    page.goto(retrained[2].page.as_uri())
    assert violations(page) == []
    page.close()


def test_without_an_approved_model_the_page_says_that_nothing_was_compared(
    untrained_copy: Workspace,
    quick_settings: Callable[[Workspace], None],
    tmp_path: Path,
    now: datetime,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(tracking, "push", lambda *_: None)
    quick_settings(untrained_copy)
    file = tmp_path / "one.csv"
    file.write_text(
        "section_id,seam_id,position_mm,position_tol_mm,flaw,purpose\nN1,S0129,150,2,sound,random\n"
    )
    result = retrain(untrained_copy, file, now=now)
    assert result.record.shared == ()
    assert "no model is approved" in result.record.sentence
    assert "no model is approved" in result.page.read_text()
