"""Our descriptors with the models that training offers, on the same draws and the same test."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from quality.sections import LABELS, Sections
from quality.shops import SIZES, TEST, Setup, draw_name, stored
from quality.splits import first_of_each
from seamtell.data_synth.shop import invent_shop
from seamtell.data_synth.shop_plan import ShopPlan
from seamtell.features.descriptors.registry import model_names, schema_digest
from seamtell.features.kernel.batch import describe_batch
from seamtell.features.trace_batch import TraceBatch
from seamtell.models.boosted_trees import grow_trees
from seamtell.models.class_weights import balanced_weights
from seamtell.models.labelled_table import LabelledTable, TrainingPlan
from seamtell.models.scoring import macro_f1
from seamtell.models.training import train_flaw_model

__all__ = [
    "AS_CHOSEN",
    "CANDIDATES",
    "TREES",
    "OurCost",
    "TreeFigure",
    "answer_all",
    "our_cost",
    "tree_figures",
]

AS_CHOSEN = "ours"
CANDIDATES = ("logistic", "lightgbm")
TREES = (50, 100, 200, 300, 600, 1000, 1500)
_RUNS = 9
_TIMED_SEAMS = 512


@dataclass(frozen=True)
class OurCost:
    """Least time over several runs on one core, in microseconds."""

    describe_us_per_seam: float
    indications_per_seam: float
    model_us_per_indication: dict[str, float]


@dataclass(frozen=True)
class TreeFigure:
    """What a number of trees gives and costs, mean over the draws."""

    trees: int
    sections_per_class: int
    macro_f1: float
    macro_f1_of_draws: tuple[float, ...]
    us_per_indication: float


def table_of(sections: Sections) -> LabelledTable:
    """The sections as training reads them."""
    labels = np.array(LABELS)
    return LabelledTable(
        section_ids=tuple(f"S-{number:05d}" for number in range(len(sections))),
        values=sections.values,
        names=model_names(),
        truths=labels[sections.written],
        groups=sections.coils,
        times=np.arange(len(sections)).astype("datetime64[s]"),
        recipes=sections.recipes,
        schema_digest=schema_digest(),
        sizes_mm=sections.sizes_mm,
    )


def answer_all(setup: Setup, folder: Path) -> None:
    """Train on every draw and size, and keep the answers to the test; what is there is not done again."""
    test = stored(folder, TEST)
    for draw in range(setup.draws):
        for size in SIZES:
            path = folder / f"answers-{AS_CHOSEN}-{draw}-{size}.npz"
            if path.exists():
                continue
            sections = stored(folder, draw_name(draw))
            trained = sections.take(first_of_each(sections.written, size))
            plan = TrainingPlan(seed=1 + draw)
            model = train_flaw_model(table_of(trained), plan).model
            if model.classes != LABELS:
                raise ValueError(f"trained on {model.classes}, expected {LABELS}")
            found = {one: model.candidate_probabilities(one, test.values) for one in plan.candidates}
            chosen = model.calibration.apply(found[model.card.chosen])
            answers = {one: p.argmax(axis=1) for one, p in found.items()} | {AS_CHOSEN: chosen.argmax(axis=1)}
            half = path.with_suffix(".half.npz")
            np.savez(half, chosen=np.array(model.card.chosen), **answers)
            half.replace(path)
            print(f"ours: draw {draw}, {size} a class, chosen {model.card.chosen}", flush=True)


def tree_figures(setup: Setup, folder: Path, size: int) -> list[TreeFigure]:
    """Macro-F1 and cost of more and fewer trees, trained on `size` sections of each class."""
    test = stored(folder, TEST)
    drawn = [stored(folder, draw_name(draw)) for draw in range(setup.draws)]
    trained = [one.take(first_of_each(one.written, size)) for one in drawn]
    figures = []
    for trees in TREES:
        scores, us = [], np.inf
        for seed, one in enumerate(trained, start=1):
            weights = balanced_weights(one.written, len(LABELS))
            model = grow_trees(one.values, one.written, weights, len(LABELS), seed, trees)
            found = model.predict_proba(test.values).argmax(axis=1)
            scores.append(macro_f1(found.astype(np.int64), test.hidden, len(LABELS)))
            us = min(us, _fastest_s(lambda: model.predict_proba(test.values)) / len(test) * 1e6)  # noqa: B023
        figures.append(TreeFigure(trees, size, float(np.mean(scores)), tuple(scores), us))
    return figures


def our_cost(setup: Setup, folder: Path) -> OurCost:
    """Time the kernel on seams of the shop, and each model on the indications of the test."""
    plan = ShopPlan()
    limits = {recipe.name: recipe.limits() for recipe in plan.recipes}
    traces = [seam.trace for seam in invent_shop(_TIMED_SEAMS, setup.seed, plan).seams()]
    batch = TraceBatch.of_traces(traces)
    found = len(describe_batch(batch, limits))
    seconds = _fastest_s(lambda: describe_batch(batch, limits))
    test, sections = stored(folder, TEST), stored(folder, draw_name(0))
    model = train_flaw_model(
        table_of(sections.take(first_of_each(sections.written, 100))), TrainingPlan()
    ).model
    per_model = {
        one: _fastest_s(lambda: model.candidate_probabilities(one, test.values)) / len(test) * 1e6  # noqa: B023
        for one in CANDIDATES
    }
    return OurCost(seconds / len(traces) * 1e6, found / len(traces), per_model)


def _fastest_s(call: Callable[[], object]) -> float:
    call()
    times: list[float] = []
    for _ in range(_RUNS):
        start = time.process_time()
        call()
        times.append(time.process_time() - start)
    return min(times)
