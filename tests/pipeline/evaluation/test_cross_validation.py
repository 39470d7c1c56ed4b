"""Out-of-fold answers as the model would give them."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from seamtell.models.calibration import fit_calibration
from seamtell.pipeline.errors import Refused
from seamtell.pipeline.evaluation.cross_validation import (
    candidate_calibrations,
    cross_validated_answers,
    cross_validated_candidates,
    out_of_fold,
)
from seamtell.pipeline.training_files import OUT_OF_FOLD_FILE, out_of_fold_csv

CLASSES = ("pinhole", "mismatch", "sound")
N = 90


@pytest.fixture
def card():
    return SimpleNamespace(
        classes=CLASSES,
        candidates=("prior", "logistic"),
        chosen="logistic",
        error_rate=0.2,
        novelty_threshold_p=0.01,
        training_section_ids=("=A1", *(f"X{i}" for i in range(1, N))),
    )


@pytest.fixture
def folder(card, tmp_path: Path) -> Path:
    rng = np.random.default_rng(15)
    truths = np.array([CLASSES[i % 3] for i in range(N)])
    sharp = rng.dirichlet(np.ones(3), size=N) + 2.5 * (truths[:, None] == np.array(CLASSES))
    probabilities = {
        "prior": np.full((N, 3), 1 / 3),
        "logistic": sharp / sharp.sum(axis=1, keepdims=True),
    }
    folds = np.arange(N) % 5
    data = out_of_fold_csv(card.training_section_ids, truths, folds, CLASSES, probabilities)
    (tmp_path / OUT_OF_FOLD_FILE).write_bytes(data)
    return tmp_path


def test_the_file_comes_back_with_the_ids_as_the_workspace_has_them(folder: Path, card) -> None:
    read = out_of_fold(folder, card)
    assert read.section_ids[0] == "=A1"
    assert read.codes[:4].tolist() == [0, 1, 2, 0]
    assert read.candidates["prior"].shape == (N, 3)


def test_sets_hold_the_truth_about_as_often_as_they_promise(folder: Path, card) -> None:
    read = out_of_fold(folder, card)
    answers = cross_validated_answers(read, card)
    held = np.mean(
        [CLASSES[code] in labels for code, labels in zip(read.codes, answers.label_sets, strict=True)]
    )
    # Guarantee of class-conditional conformal sets: at least 0.8, and with 30 a class at most 1/30 more.
    assert 0.79 <= held <= 0.87
    assert len(answers) == N


def test_a_label_is_the_only_member_of_its_set(folder: Path, card) -> None:
    answers = cross_validated_answers(out_of_fold(folder, card), card)
    for label, members, reason in zip(answers.labels, answers.label_sets, answers.reasons, strict=True):
        assert (label,) == members if not reason else label == "unclassified"


@pytest.mark.parametrize("change", ["row", "column", "truth", "missing"])
def test_a_file_that_does_not_fit_the_model_is_refused(folder: Path, card, change: str) -> None:
    path = folder / OUT_OF_FOLD_FILE
    text = path.read_text()
    if change == "row":
        path.write_text("\n".join(text.splitlines()[:-1]) + "\n")
    elif change == "column":
        path.write_text(text.replace("p_logistic_sound", "p_logistic_other", 1))
    elif change == "truth":
        path.write_text(text.replace("mismatch", "crack").replace("p_logistic_crack", "p_logistic_mismatch"))
    else:
        path.unlink()
    with pytest.raises(Refused, match="do not fit the model"):
        out_of_fold(folder, card)


def test_candidates_are_compared_calibrated_and_no_row_calibrates_itself(folder: Path, card) -> None:
    read = out_of_fold(folder, card)
    calibrated = cross_validated_candidates(read)
    for values in calibrated.values():
        np.testing.assert_allclose(values.sum(axis=1), 1.0)
    # Naive twin: fit on the other folds, apply to this one.
    here = read.folds == 2
    twin = fit_calibration(read.candidates["logistic"][~here], read.codes[~here])
    np.testing.assert_allclose(calibrated["logistic"][here], twin.apply(read.candidates["logistic"][here]))
    whole = candidate_calibrations(read)["logistic"]
    assert whole == fit_calibration(read.candidates["logistic"], read.codes)
