"""The evaluation of a trained model, end to end on a small shop."""

from __future__ import annotations

import csv
import json
import shutil
from datetime import datetime
from pathlib import Path

import pytest
from pydantic import ValidationError

from seamtell.pipeline.errors import BadInput, Refused
from seamtell.pipeline.evaluate import evaluate
from seamtell.pipeline.evaluation.files import evaluation_digest, read_evaluation
from seamtell.pipeline.evaluation.result import (
    MATRIX_COLUMNS,
    MATRIX_ROWS,
    SECTION_COLUMNS,
    Estimate,
)
from seamtell.pipeline.store.sections import read_sections
from seamtell.pipeline.training_files import SPLIT_FILE, Split
from seamtell.pipeline.workspace import Workspace


@pytest.fixture
def rows(evaluated) -> list[dict[str, str]]:
    path = evaluated[0].reports_dir / evaluated[1].model_id / "sections.csv"
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_the_three_files_are_written(evaluated) -> None:
    ws, result = evaluated
    folder = ws.reports_dir / result.model_id
    assert {p.name for p in folder.iterdir()} >= {"evaluation.json", "sections.csv", "evaluation.html"}
    assert read_evaluation(folder) == result


def test_every_figure_in_the_file_has_n_estimate_low_and_high(evaluated) -> None:
    ws, result = evaluated
    document = json.loads((ws.reports_dir / result.model_id / "evaluation.json").read_text())
    scope = document["held_out"]
    figures = [scope[name] for name in ("macro_f1", "kappa", "log_loss", "abstention", "missed")]
    figures += [one[name] for one in scope["per_class"] for name in ("recall", "precision")]
    for figure in figures:
        assert {"n", "estimate", "low", "high"} <= set(figure)
        if figure["estimate"] is not None:
            assert figure["low"] <= figure["estimate"] <= figure["high"]
            assert figure["low"] < figure["high"]
    assert scope["matrix"]["rows"] == list(MATRIX_ROWS)
    assert scope["matrix"]["columns"] == list(MATRIX_COLUMNS)


def test_every_section_is_in_the_table_once(evaluated, rows) -> None:
    ws, _ = evaluated
    assert tuple(rows[0]) == SECTION_COLUMNS
    assert sorted(row["section_id"] for row in rows) == sorted(read_sections(ws)["section_id"])


def test_the_matrix_can_be_counted_again_from_the_csv_alone(evaluated, rows) -> None:
    # An independent reader: nothing but the csv module and the column names.
    for scope in ("held_out", "cross_validated"):
        matrix = getattr(evaluated[1], scope).matrix
        for truth in MATRIX_ROWS:
            for answer in MATRIX_COLUMNS:
                count = sum(
                    row["scope"] == scope
                    and row["truth"] == truth
                    and row["answer"] == answer
                    and row["outcome"] not in ("shared", "left_out")
                    for row in rows
                )
                assert count == matrix.count(truth, answer)


def test_no_held_out_section_is_of_a_group_that_training_saw(evaluated, rows) -> None:
    ws, result = evaluated
    split = Split.model_validate_json((ws.models_dir / result.model_id / SPLIT_FILE).read_bytes())
    held_out = [row for row in rows if row["scope"] == "held_out"]
    seen = {row["group"] for row in rows if row["section_id"] in split.training_section_ids}
    assert {row["section_id"] for row in held_out} == set(split.held_out_section_ids)
    assert not seen & {row["group"] for row in held_out}


def test_only_targeted_cuts_leave_the_missed_share_unknown(evaluated) -> None:
    # The small shop has targeted cuts only, all of them at indications.
    assert evaluated[1].held_out.missed.estimate is None
    assert any("unknown" in note for note in evaluated[1].notes)


def test_all_candidates_and_the_limit_rule_stand_side_by_side(evaluated) -> None:
    result = evaluated[1]
    names = ["prior", "hand_rule", "logistic", "lightgbm"]
    for scope in (result.held_out, result.cross_validated):
        assert [one.name for one in scope.side_by_side] == names
        assert len({one.macro_f1.n for one in scope.side_by_side}) == 1
        assert scope.limit_rule.detections.n > 0


def test_evaluating_twice_gives_the_same_bytes(evaluated, now: datetime, tmp_path: Path) -> None:
    ws, result = evaluated
    shutil.copytree(ws.root, tmp_path / "ws")
    again = Workspace(tmp_path / "ws")
    evaluate(again, result.model_id, now=now)
    first, second = (one.reports_dir / result.model_id for one in (ws, again))
    assert evaluation_digest(first) == evaluation_digest(second)
    assert (first / "sections.csv").read_bytes() == (second / "sections.csv").read_bytes()


def test_an_unknown_model_is_named_with_what_there_is(shop_copy: Workspace, now: datetime) -> None:
    with pytest.raises(BadInput, match="no model 'm-0099'"):
        evaluate(shop_copy, "m-0099", now=now)


def test_a_path_is_no_model(shop_copy: Workspace, now: datetime) -> None:
    with pytest.raises(BadInput, match="no model"):
        evaluate(shop_copy, "../models/m-0001", now=now)


@pytest.mark.parametrize("name", ["model_card.json", SPLIT_FILE, "out_of_fold.csv"])
def test_a_model_folder_with_one_byte_changed_is_refused(shop_copy, now: datetime, name: str) -> None:
    path = shop_copy.models_dir / "m-0001" / name
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    path.write_bytes(bytes(data))
    with pytest.raises(Refused, match=r"."):
        evaluate(shop_copy, "m-0001", now=now)
    assert not (shop_copy.reports_dir / "m-0001").exists()


def test_a_report_that_is_not_whole_is_refused(tmp_path: Path) -> None:
    (tmp_path / "evaluation.json").write_text('{"model_id": "m-0001"}')
    with pytest.raises(Refused, match="not a whole evaluation"):
        read_evaluation(tmp_path)


def test_a_model_that_was_not_evaluated_says_what_to_run(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="not evaluated yet"):
        read_evaluation(tmp_path / "m-0007")


def test_no_figure_can_hold_a_number_that_is_not_finite() -> None:
    with pytest.raises(ValidationError):
        Estimate(n=1, estimate=float("nan"))


def test_the_headline_figures_are_those_of_the_chosen_candidate(evaluated) -> None:
    for scope in (evaluated[1].held_out, evaluated[1].cross_validated):
        (chosen,) = [one for one in scope.side_by_side if one.chosen]
        assert (scope.macro_f1, scope.kappa, scope.log_loss) == (
            chosen.macro_f1,
            chosen.kappa,
            chosen.log_loss,
        )
