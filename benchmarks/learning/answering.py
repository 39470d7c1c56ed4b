"""Train and score what is answered to flaws that were not seen."""

from __future__ import annotations

import time
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from learning.borders import BORDERS, border_mask, forgiven
from learning.cells import BANDS, REAL_ONLY, Cell, Setup
from learning.rows import Rows
from seamtell.data_synth.theory import THEORY_VERSION
from seamtell.features.contracts import Flaw
from seamtell.features.descriptors.registry import model_names, schema_digest
from seamtell.models.cross_validation import size_bands
from seamtell.models.labelled_table import LabelledTable, TrainingPlan
from seamtell.models.physics_only_training import PhysicsOnlyResult
from seamtell.models.scoring import macro_f1
from seamtell.models.simulated_table import SimulatedTable
from seamtell.models.training import TrainingResult, train_flaw_model, train_physics_only

__all__ = [
    "AS_CHOSEN",
    "CANDIDATES",
    "Answer",
    "CellResult",
    "asked_of",
    "bands_of",
    "run_cells",
    "score",
    "trainings",
]

CANDIDATES = ("logistic", "lightgbm")
AS_CHOSEN = "as chosen"
_LABELS = tuple(flaw.value for flaw in Flaw)
_FEWEST = 3


@dataclass(frozen=True)
class Answer:
    """How one candidate of a cell answers the test.

    Parameters
    ----------
    weight : float or None
        What the simulated flaws of a class count beside its sections; None for physics alone.
    by_examiner, by_truth : float
        Macro-F1 against what the examiner wrote, and against what truly is there.
    by_truth_borders_merged : float
        The same with the confusions of the border pairs counted as right.
    borders : tuple of int
        Confusions of each border pair, in the order of `BORDERS`.
    errors : int
        All confusions against the truth.
    """

    candidate: str
    weight: float | None
    by_examiner: float
    by_truth: float
    by_truth_borders_merged: float
    borders: tuple[int, ...]
    errors: int
    asked: int


@dataclass(frozen=True)
class CellResult:
    """One training with its answers, `AS_CHOSEN` first."""

    cell: Cell
    chosen: str
    seconds: float
    answers: tuple[Answer, ...]


def bands_of(rows: Rows, edges_from: Rows) -> NDArray[np.int64]:
    """Band of each row, shape (n,): third of the sizes of its class in `edges_from`; -1 without size."""
    codes = _codes(edges_from.hidden)
    known = size_bands(edges_from.sizes_mm, codes)
    bands = np.full(len(rows), -1, dtype=np.int64)
    for code, label in enumerate(_LABELS):
        inside = (codes == code) & (known >= 0)
        if inside.any():
            tops = [edges_from.sizes_mm[inside & (known == band)].max() for band in (0, 1)]
            here = (rows.hidden == label) & np.isfinite(rows.sizes_mm)
            bands[here] = np.searchsorted(tops, rows.sizes_mm[here], side="left")
    return bands


def trainings(cells: Iterable[Cell]) -> list[tuple[Cell, ...]]:
    """Cells by training: what had no section lacked no size and no recipe, so it is trained once a draw."""
    together: dict[Cell, list[Cell]] = {}
    for cell in dict.fromkeys(cells):
        key = cell if cell.sections else replace(cell, band="", recipe="")
        together.setdefault(key, []).append(cell)
    return [tuple(group) for group in together.values()]


def run_cells(
    cells: Sequence[Cell], setup: Setup, pool: Rows, test: Rows, physics: Mapping[str, Rows]
) -> list[CellResult]:
    """Draw, train once for the cells of one training, ask each one's flaws."""
    start = time.perf_counter()
    first = cells[0]
    simulated = None if first.physics == REAL_ONLY else _draw_simulated(first, setup, physics[first.physics])
    plan = TrainingPlan(CANDIDATES, setup.folds, seed=1 + first.draw, min_sections_per_class=_FEWEST)
    result: TrainingResult | PhysicsOnlyResult
    if first.sections:
        result = train_flaw_model(_draw_sections(first, setup, pool), plan, simulated=simulated)
    elif simulated is not None:
        result = train_physics_only(simulated, plan)
    else:
        raise ValueError(f"{first} has nothing to learn from, expected sections or physics")
    chosen = result.model.card.chosen
    seconds = round(time.perf_counter() - start, 2)
    found = []
    for cell in cells:
        asked = test.take(asked_of(cell, pool, test))
        answers = [_answer(AS_CHOSEN, chosen, result, asked)]
        answers += [_answer(name, name, result, asked) for name in CANDIDATES]
        found.append(CellResult(cell, chosen, seconds, tuple(answers)))
    return found


def score(candidate: str, weight: float | None, rows: Rows, answers: NDArray[np.str_]) -> Answer:
    """Score `answers` of shape (n,)."""
    merged = forgiven(rows, rows.hidden, answers)
    return Answer(
        candidate,
        weight,
        by_examiner=_macro_f1(answers, rows.labels),
        by_truth=_macro_f1(answers, rows.hidden),
        by_truth_borders_merged=_macro_f1(merged, rows.hidden),
        borders=tuple(int(border_mask(pair, rows, rows.hidden, answers).sum()) for pair in BORDERS),
        errors=int((answers != rows.hidden).sum()),
        asked=len(rows),
    )


def _codes(labels: NDArray[np.str_]) -> NDArray[np.int64]:
    return np.array([_LABELS.index(label) for label in labels.tolist()], dtype=np.int64)


def _macro_f1(answers: NDArray[np.str_], truths: NDArray[np.str_]) -> float:
    return macro_f1(_codes(answers), _codes(truths), len(_LABELS))


def _answer(candidate: str, name: str, result: TrainingResult | PhysicsOnlyResult, rows: Rows) -> Answer:
    model = result.model
    probabilities = model.candidate_probabilities(name, rows.values)
    weight = None
    if isinstance(result, TrainingResult):
        weight = result.simulated_weights.get(name, 0.0)
        if candidate == AS_CHOSEN:
            probabilities = result.model.calibration.apply(probabilities)
    answers = np.array(model.classes)[probabilities.argmax(axis=1)]
    return score(candidate, weight, rows, answers)


def _kept_out(cell: Cell, rows: Rows, edges_from: Rows) -> NDArray[np.bool_]:
    """What the sections of a cell lack, as a mask of `rows`."""
    if cell.band:
        return bands_of(rows, edges_from) == BANDS.index(cell.band)
    return rows.recipes == cell.recipe if cell.recipe else np.zeros(len(rows), dtype=bool)


def asked_of(cell: Cell, pool: Rows, test: Rows) -> NDArray[np.bool_]:
    """Rows of the test to ask: all, or those left out and, of sound ones, as large a part."""
    if not cell.left_out:
        return np.ones(len(test), dtype=bool)
    asked = _kept_out(cell, test, pool)
    if cell.band:
        sound = test.hidden == Flaw.SOUND.value
        asked |= sound & (np.arange(len(test)) % len(BANDS) == BANDS.index(cell.band))
    return asked


def _draw_sections(cell: Cell, setup: Setup, pool: Rows) -> LabelledTable:
    """The first sections of each class of this draw's order: fewer are a part of more."""
    rng = np.random.default_rng((setup.seed, cell.draw, 0))
    order = rng.permutation(len(pool))
    order = order[~_kept_out(cell, pool, pool)[order]]
    picked = [order[pool.labels[order] == label][: cell.sections] for label in _LABELS]
    rows = pool.take(np.concatenate(picked))
    return LabelledTable(
        section_ids=tuple(f"S-{number:05d}" for number in range(len(rows))),
        values=rows.values,
        names=model_names(),
        truths=rows.labels,
        groups=rows.groups,
        times=np.arange(len(rows)).astype("datetime64[s]"),
        recipes=rows.recipes,
        schema_digest=schema_digest(),
        sizes_mm=rows.sizes_mm,
    )


def _draw_simulated(cell: Cell, setup: Setup, rows: Rows) -> SimulatedTable:
    """Some of the simulated flaws, other ones in every draw."""
    order = np.random.default_rng((setup.seed, cell.draw, 1)).permutation(len(rows))
    picked = [order[rows.labels[order] == label][: setup.simulated_per_class] for label in _LABELS]
    rows = rows.take(np.concatenate(picked))
    return SimulatedTable(
        values=rows.values,
        names=model_names(),
        truths=rows.labels,
        groups=rows.groups,
        recipes=rows.recipes,
        sizes_mm=rows.sizes_mm,
        schema_digest=schema_digest(),
        origin="implanted",
        theory_version=THEORY_VERSION,
        physics_digest=cell.physics,
    )
