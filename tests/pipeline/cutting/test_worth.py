from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import entropy

from seamtell.features.contracts import Flaw
from seamtell.pipeline.cutting.class_needs import need_from_counts
from seamtell.pipeline.cutting.worth import LENGTH_BANDS_MM, WEIGHTS, Ask, Known, Reason, worth_of

CLASSES = [flaw.value for flaw in Flaw]
BANDS = len(LENGTH_BANDS_MM) + 1


def ask(probabilities: np.ndarray, **given: object) -> Ask:
    n = len(probabilities)
    facts = {"novelty_p": np.ones(n), "length_mm": np.full(n, 5.0), "strata": np.array(["L1 / R1"] * n)}
    return Ask(probabilities, **{**facts, **given})  # type: ignore[arg-type]


def known(**given: object) -> Known:
    facts = {
        "need": np.zeros(5),
        "by_stratum": {"L1 / R1": 100},
        "by_band": np.full((5, BANDS), 100, dtype=np.int64),
    }
    return Known(**{**facts, **given})  # type: ignore[arg-type]


def test_the_weights_add_up_to_one_so_that_worth_stays_within_one() -> None:
    assert sum(WEIGHTS.values()) == pytest.approx(1.0)
    everything = known(need=np.ones(5), by_stratum={}, by_band=np.zeros((5, BANDS), dtype=np.int64))
    total = worth_of(ask(np.full((1, 5), np.nan), novelty_p=np.array([np.nan])), everything).total
    assert 0.9 < float(total[0]) <= 1.0


def test_ambiguity_is_the_entropy_that_scipy_computes() -> None:
    p = np.random.default_rng(1).dirichlet(np.ones(5), size=20)
    parts = worth_of(ask(p), known()).parts
    assert parts[Reason.AMBIGUOUS] == pytest.approx(
        WEIGHTS[Reason.AMBIGUOUS] * entropy(p, axis=1) / np.log(5)
    )


def test_a_place_where_a_needed_class_is_expected_is_worth_more() -> None:
    need = need_from_counts(
        {"pinhole": 3, "edge_notch": 40, "lack_of_fusion": 40, "mismatch": 40, "sound": 90}
    )
    sure = np.eye(5)
    total = worth_of(ask(sure), known(need=need)).total
    assert np.argmax(total) == CLASSES.index("pinhole")
    assert total == pytest.approx(WEIGHTS[Reason.THIN_CLASS] * np.eye(5)[0])


def test_a_stratum_without_sections_and_a_size_without_sections_are_worth_more() -> None:
    by_band = np.full((5, BANDS), 100, dtype=np.int64)
    by_band[:, 0] = 0
    p = np.tile(np.eye(5)[0], (3, 1))
    asked = ask(p, length_mm=np.array([5.0, 1.0, 5.0]), strata=np.array(["L1 / R1", "L1 / R1", "L2 / R1"]))
    total = worth_of(asked, known(by_band=by_band)).total
    assert total == pytest.approx([0.0, WEIGHTS[Reason.SIZE], WEIGHTS[Reason.STRATUM]])


def test_a_place_on_which_the_model_said_nothing_is_novel_and_ambiguous() -> None:
    worth = worth_of(ask(np.full((1, 5), np.nan), novelty_p=np.array([np.nan])), known())
    assert worth.parts[Reason.NOVEL][0] == pytest.approx(WEIGHTS[Reason.NOVEL])
    assert worth.parts[Reason.AMBIGUOUS][0] == pytest.approx(WEIGHTS[Reason.AMBIGUOUS])
    assert worth.main_reasons(0) == "novel, ambiguous"
