"""What the descriptors of each class look like on the invented shop, and how the classes overlap."""

from __future__ import annotations

from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np
from learning.rows import Rows
from learning.shop_rows import ShopPart, shop_rows
from numpy.typing import NDArray

from seamtell.data_synth.shop_plan import ShopPlan
from seamtell.features.contracts import Flaw
from seamtell.features.descriptors.registry import by_name, model_names
from seamtell.pipeline.report.palette import flaw_mark, words
from theory_pages.drawing import INK, dress, title

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["draw_descriptors", "draw_pair", "shop_sample"]

_SEED, _SEAMS = 3, 2400
_SHOWN = 12
_LABELS = tuple(flaw.value for flaw in Flaw)
_MOST_ALIKE = 0.85
_POINTS = 90
Floats = NDArray[np.float64]


def shop_sample() -> Rows:
    """Every excursion of the shop's seams with what truly is there."""
    return shop_rows(ShopPart(ShopPlan(), _SEED, _SEAMS, 0, 1))


def draw_descriptors(sample: Rows) -> tuple[Figure, str]:
    """Strips of the most telling descriptors, and what they show."""
    from matplotlib.figure import Figure

    shown = _most_telling(sample)
    figure = Figure(figsize=(11.0, 7.6))
    axes = figure.subplots(3, 4).ravel()
    for number, (one, name) in enumerate(zip(axes, shown, strict=True)):
        _strips(one, sample, name, named=number % 4 == 0)
    figure.tight_layout(h_pad=1.6)
    counts = ", ".join(f"{int((sample.hidden == label).sum())} {words(label)}" for label in _LABELS)
    finding = (
        "The twelve descriptors that say most about the class and least about one another; thick: middle "
        f"half, thin: 5 to 95 %, mark: median. Indications of the invented shop: {counts}."
    )
    return figure, finding


def draw_pair(sample: Rows) -> tuple[Figure, str]:
    """The two descriptors that tell the classes best as a pair, and what they show."""
    from matplotlib.figure import Figure

    (first, second), share = _best_pair(sample, _most_telling(sample))
    figure = Figure(figsize=(7.4, 5.4))
    axes = figure.add_subplot()
    rng = np.random.default_rng(_SEED)
    x, y = _column(sample, first), _column(sample, second)
    for label in _LABELS:
        rows = np.flatnonzero(sample.hidden == label)
        rows = np.sort(rng.permutation(rows)[:_POINTS])
        mark = flaw_mark(label)
        face = mark.colour if mark.filled else "none"
        edge = INK if mark.filled else mark.colour
        axes.plot(
            x[rows],
            y[rows],
            mark.marker,
            markersize=4.5,
            markerfacecolor=face,
            markeredgecolor=edge,
            markeredgewidth=0.4 if mark.filled else 1.0,
            linestyle="none",
            label=words(label),
        )
    axes.set_ylim(np.quantile(y, (0.005, 0.995)))
    axes.set_xlabel(_axis(first))
    axes.set_ylabel(_axis(second))
    axes.legend(frameon=False, fontsize=8, labelcolor=INK, loc="center left", bbox_to_anchor=(1.0, 0.5))
    dress(axes)
    figure.tight_layout()
    finding = f"{first} against {second}, up to {_POINTS} a class: alone they get {100 * share:.0f} % right."
    return figure, finding


def _axis(name: str) -> str:
    unit = by_name(name).unit
    unit = "beams" if name.endswith("_beams") else unit
    return words(name).removesuffix(" db").removesuffix(" beams") + (f" ({unit})" if unit != "1" else "")


def _column(sample: Rows, name: str) -> Floats:
    return np.asarray(sample.values[:, model_names().index(name)])


def _most_telling(sample: Rows) -> list[str]:
    """By mutual information with the class, each with little rank correlation to those before it."""
    from scipy.stats import spearmanr
    from sklearn.feature_selection import mutual_info_classif

    codes = np.array([_LABELS.index(label) for label in sample.hidden.tolist()])
    told = mutual_info_classif(sample.values, codes, random_state=_SEED)
    alike = np.abs(spearmanr(sample.values).statistic)
    kept: list[int] = []
    for column in np.argsort(-told, kind="stable").tolist():
        if all(alike[column, other] < _MOST_ALIKE for other in kept):
            kept.append(column)
    return [model_names()[column] for column in kept[:_SHOWN]]


def _best_pair(sample: Rows, names: list[str]) -> tuple[tuple[str, str], float]:
    """Pair with the highest share of right answers of a small tree in cross-validation, classes even."""
    from sklearn.model_selection import cross_val_score
    from sklearn.tree import DecisionTreeClassifier

    tree = DecisionTreeClassifier(max_leaf_nodes=12, class_weight="balanced", random_state=_SEED)
    scores = {}
    for pair in combinations(names, 2):
        values = np.column_stack([_column(sample, name) for name in pair])
        scores[pair] = float(
            cross_val_score(tree, values, sample.hidden, cv=5, scoring="balanced_accuracy").mean()
        )
    best = max(scores, key=lambda pair: scores[pair])
    return best, scores[best]


def _strips(axes: Axes, sample: Rows, name: str, *, named: bool) -> None:
    values = _column(sample, name)
    for row, label in enumerate(_LABELS):
        low, quarter, middle, three, high = np.quantile(
            values[sample.hidden == label], (0.05, 0.25, 0.5, 0.75, 0.95)
        )
        mark = flaw_mark(label)
        axes.plot([low, high], [row, row], color=INK, linewidth=0.8, solid_capstyle="butt")
        axes.plot([quarter, three], [row, row], color=mark.colour, linewidth=5.0, solid_capstyle="butt")
        axes.plot(
            [middle],
            [row],
            mark.marker,
            markersize=5.5,
            markerfacecolor=mark.colour if mark.filled else "none",
            markeredgecolor=INK,
            markeredgewidth=0.7,
        )
    axes.set_ylim(len(_LABELS) - 0.4, -0.6)
    axes.set_yticks(
        range(len(_LABELS)), [words(label) for label in _LABELS] if named else [""] * len(_LABELS)
    )
    title(axes, _axis(name))
    if name.endswith("beams") and values.min() > 0.0:
        axes.set_xscale("log")
        axes.xaxis.set_major_formatter("{x:g}")
    dress(axes)
