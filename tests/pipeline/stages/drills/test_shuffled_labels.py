"""A model trained on labels that mean nothing must not be approved."""

from __future__ import annotations

from datetime import datetime

import numpy as np
import pytest

from seamtell.pipeline.approve import ApprovalRefused, approve
from seamtell.pipeline.evaluate import evaluate
from seamtell.pipeline.sign_off.criteria_check import apply_criteria
from seamtell.pipeline.store.sections import SECTIONS_FILE, read_sections
from seamtell.pipeline.train import train
from seamtell.pipeline.workspace import Workspace


def _failed(criteria, result) -> set[str]:
    return {one.criterion.id for one in apply_criteria(criteria, result) if not one.passed}


def test_the_same_sections_with_their_own_labels_pass(shop_table, judge, label_criteria) -> None:
    # Without this the drill below could not fail.
    assert _failed(label_criteria, judge(shop_table).result) == set()


@pytest.mark.parametrize("seed", range(20))
def test_shuffled_labels_fail_every_criterion_on_agreement(
    shop_table, judge, label_criteria, with_truths, seed: int
) -> None:
    shuffled = np.random.default_rng(seed).permutation(shop_table.truths)
    failed = _failed(label_criteria, judge(with_truths(shop_table, shuffled)).result)
    assert {"right_when_it_speaks", "agreement", "every_class_counts"} <= failed


def test_approve_refuses_a_model_of_shuffled_sections(
    untrained_copy: Workspace, quick_settings, monkeypatch, now: datetime
) -> None:
    monkeypatch.setattr("seamtell.pipeline.train.record_run", lambda *_: True)
    quick_settings(untrained_copy)
    settings = untrained_copy.settings_path
    settings.write_text(settings.read_text().replace('"hand_rule"', '"logistic"'))
    sections = read_sections(untrained_copy)
    sections["flaw"] = np.random.default_rng(1).permutation(sections["flaw"].to_numpy(str))
    sections.to_parquet(untrained_copy.sections_dir / SECTIONS_FILE)
    model = train(untrained_copy, now=now).model_id
    evaluate(untrained_copy, model, now=now)
    with pytest.raises(ApprovalRefused, match="agreement") as refused:
        approve(untrained_copy, model, by="A. Tester", reason="a drill", now=now)
    assert {"agreement", "every_class_counts"} <= {
        one.criterion.id for one in refused.value.outcomes if not one.passed
    }
    assert not untrained_copy.log_path.exists()
