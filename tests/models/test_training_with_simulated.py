"""Simulated flaws in a training: what they may reach, and what never."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
import pytest

from seamtell.features.errors import SeamtellError
from seamtell.models.logistic import FittedLogistic, Logistic
from seamtell.models.model_file import load_model, save_model
from seamtell.models.training import TrainingPlan, TrainingResult, train_flaw_model
from seamtell.models.training_warnings import physics_warnings

CLASSES = ("pinhole", "edge_notch", "sound")
PLAN = TrainingPlan(candidates=("prior", "logistic"), folds=3)
MARK = 1000.0
"""The last descriptor of a simulated row is above this, of a section far below."""


@dataclass
class Recorder:
    """Every fit with what it was asked next."""

    fitted: list[tuple[np.ndarray, np.ndarray]] = field(default_factory=list)
    asked: list[tuple[int, np.ndarray]] = field(default_factory=list)


class RecordingFitted(FittedLogistic):
    """Nearest class mean on the unmarked descriptors; says what it was asked."""

    def __init__(self, number: int, means: np.ndarray, recorder: Recorder) -> None:
        super().__init__(np.zeros((5, len(means))), np.zeros(len(means)), 1.0)
        object.__setattr__(self, "number", number)
        object.__setattr__(self, "means", means)
        object.__setattr__(self, "recorder", recorder)

    def predict_proba(self, values: np.ndarray) -> np.ndarray:
        self.recorder.asked.append((self.number, values.copy()))
        distances = ((values[:, None, :4] - self.means) ** 2 / 4).sum(axis=2)
        powers = np.exp(-0.5 * (distances - distances.min(axis=1, keepdims=True)))
        return powers / powers.sum(axis=1, keepdims=True)


@pytest.fixture
def recorder(monkeypatch: pytest.MonkeyPatch) -> Recorder:
    kept = Recorder()

    def fit(_, values, codes, weights, names, classes, seed, groups=None):
        means = [
            np.average(values[codes == c, :4], axis=0, weights=weights[codes == c])
            for c in range(len(classes))
        ]
        kept.fitted.append((values.copy(), groups.copy()))
        return RecordingFitted(len(kept.fitted) - 1, np.array(means), kept)

    monkeypatch.setattr(Logistic, "fit", fit)
    return kept


def marked(simulated):
    values = simulated.values.copy()
    values[:, -1] = MARK + 1 + np.arange(len(values))
    return replace(simulated, values=values)


@pytest.fixture
def few(shop):
    return shop(dict.fromkeys(CLASSES, 12))


def test_no_simulated_flaw_is_ever_a_question(few, simulate, recorder: Recorder) -> None:
    result = train_flaw_model(few, PLAN, marked(simulate(30, coils=18, origin="implanted")))
    assert any((values[:, -1] > MARK).any() for values, _ in recorder.fitted)  # they did join
    assert all((values[:, -1] < MARK).all() for _, values in recorder.asked)
    n = len(few)
    assert len(result.out_of_fold_answers) == n == len(result.model.novelty.distances)
    assert all(p.shape == (n, 3) for p in result.out_of_fold.values())
    assert [len(scores) for scores in result.model.conformal.scores] == [12, 12, 12]
    assert (result.model.probe_values[:, -1] < MARK).all()
    assert all(r.high < MARK for r in result.model.card.domain.ranges)
    assert result.model.card.training_section_ids == few.section_ids


def test_flaws_in_coils_of_the_fold_that_is_asked_are_not_in_its_fit(
    few, simulate, recorder: Recorder
) -> None:
    train_flaw_model(few, PLAN, marked(simulate(30, coils=18, origin="implanted")))
    coil_of = {tuple(v): g for v, g in zip(few.values.tolist(), few.groups.tolist(), strict=True)}
    with_simulated = 0
    for number, questions in recorder.asked:
        values, groups = recorder.fitted[number]
        asked = {coil_of[tuple(row)] for row in questions.tolist()}
        if asked == set(few.groups.tolist()):
            continue  # the final fit, asked for nothing but its own probe
        assert not asked & set(groups.tolist())
        with_simulated += bool((values[:, -1] > MARK).any())
    assert with_simulated > 10


def test_novelty_and_domain_are_those_of_the_sections_alone(few, simulate, recorder: Recorder) -> None:
    alone = train_flaw_model(few, PLAN).model
    helped = train_flaw_model(few, PLAN, simulate(30, swapped=True)).model
    assert helped.novelty.to_document() == alone.novelty.to_document()
    assert helped.card.domain == alone.card.domain
    assert recorder.fitted


def test_out_of_fold_answers_come_from_the_weight_that_the_other_folds_prefer(
    few, simulate, recorder: Recorder
) -> None:
    result = train_flaw_model(few, PLAN, simulate(30))
    weighed = result.weighted["logistic"]
    assert set(weighed.fold_weights) == set(result.folds.tolist())
    assert result.out_of_fold["logistic"] is weighed.out_of_fold
    assert set(result.simulated_weights) == {"prior", "logistic"}
    assert recorder.fitted


def test_the_card_says_what_joined(few, simulate, recorder: Recorder, tmp_path) -> None:
    simulated = simulate(30, without=("sound",), coils=10, origin="implanted")
    result = train_flaw_model(few, PLAN, simulated)
    part = result.model.card.physics
    assert part is not None
    assert not result.model.card.physics_only
    assert (part.origin, part.theory_version) == ("implanted", "1")
    assert part.physics_digest == simulated.physics_digest
    assert part.simulated_digest == simulated.digest()
    assert dict(zip(result.model.classes, part.flaws_per_class, strict=True)) == {
        "pinhole": 30,
        "edge_notch": 30,
        "sound": 0,
    }
    assert part.dropped_classes == ("lack_of_fusion", "mismatch")
    assert part.host_groups == tuple(f"coil-{i:03d}" for i in range(10))
    assert part.weights == {"logistic": result.simulated_weights["logistic"]}
    assert any("simulated mismatch is dropped: too few sections" in w for w in result.warnings)
    assert any("no simulated sound: it is learnt from its sections alone" in w for w in result.warnings)
    assert recorder.fitted


def test_physics_that_does_not_help_is_reported(few, simulate, recorder: Recorder) -> None:
    part = train_flaw_model(few, PLAN, simulate(30)).model.card.physics
    assert part is not None
    useless = part.model_copy(update={"weights": {"logistic": 0.0, "lightgbm": 1.0}})
    warnings = physics_warnings(useless, CLASSES, "logistic")
    assert any("the simulated flaws have no weight in logistic" in w for w in warnings)
    assert not any("no weight" in w for w in physics_warnings(useless, CLASSES, "lightgbm"))
    assert recorder.fitted


@pytest.mark.parametrize("name", ["logistic", "lightgbm"])
def test_training_with_simulated_flaws_is_the_same_every_time_and_comes_back_from_disk(
    shop, simulate, tmp_path, name: str
) -> None:
    table = shop(dict.fromkeys(("pinhole", "sound"), 8))
    plan = TrainingPlan(candidates=(name,), folds=2)
    results: list[TrainingResult] = [train_flaw_model(table, plan, simulate(10)) for _ in range(2)]
    digests = [save_model(r.model, tmp_path / f"m{i}") for i, r in enumerate(results)]
    assert digests[0] == digests[1]
    loaded = load_model(tmp_path / "m0", schema_digest=table.schema_digest)
    assert loaded.card == results[0].model.card


def test_a_training_without_simulated_flaws_says_nothing_of_them(few, recorder: Recorder) -> None:
    result = train_flaw_model(few, PLAN)
    assert result.model.card.physics is None
    assert result.simulated_weights == {}
    assert recorder.fitted


def test_other_descriptors_are_refused(few, simulate) -> None:
    with pytest.raises(SeamtellError, match="the simulated flaws have other descriptors than the sections"):
        train_flaw_model(few, PLAN, replace(simulate(5), schema_digest="older"))
