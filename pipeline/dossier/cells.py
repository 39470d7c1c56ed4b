"""Cells of tables: a value for the CSV file, and the same value in words for people."""

from __future__ import annotations

from seamtell.pipeline.dossier.content import Cell
from seamtell.pipeline.evaluation.result import Estimate
from seamtell.pipeline.report.palette import FLAW_MARKS, words

__all__ = [
    "count_cell",
    "estimate_cell",
    "estimate_words",
    "figure_words",
    "label_cell",
    "none_cell",
    "number_cell",
    "share_words",
    "text_cell",
]

_FIGURES = {
    "macro_f1": "macro-F1",
    "right": "labelled right",
    "matched": "sections matched with an indication",
    "missed": "missed flaws",
    "abstained": "unclassified",
    "detected": "flaws detected",
}


def text_cell(text: str, *, unknown: bool = False) -> Cell:
    """Words."""
    return Cell(text, text, unknown=unknown)


def label_cell(label: str, text: str = "") -> Cell:
    """A class with its mark; other labels, such as ``all``, in words alone."""
    return Cell(text or words(label), label, label=label if label in FLAW_MARKS else "")


def none_cell(text: str) -> Cell:
    """Words where a number has no meaning; empty in the CSV file, and not unknown."""
    return Cell(text)


def figure_words(name: str) -> str:
    """Name of a headline figure as people read it.

    Examples
    --------
    >>> figure_words("macro_f1"), figure_words("recall_edge_notch"), figure_words("expected_cost")
    ('macro-F1', 'recall, edge notch', 'expected cost')
    """
    if name.startswith("recall_"):
        return f"recall, {words(name.removeprefix('recall_'))}"
    return _FIGURES.get(name, words(name))


def count_cell(count: int | None, unknown: str = "unknown") -> Cell:
    """A whole number; `unknown` says what stands where there is none."""
    if count is None:
        return Cell(unknown, unknown=True)
    return Cell(f"{count:,}", count)


def number_cell(value: float | None, digits: int = 2, unknown: str = "unknown") -> Cell:
    """A number with fixed digits; `unknown` says what stands where there is none."""
    if value is None:
        return Cell(unknown, unknown=True)
    return Cell(f"{round(value, digits) + 0.0:.{digits}f}", value)


def estimate_cell(estimate: Estimate, digits: int = 2, bound: float | None = None) -> Cell:
    """A figure with its interval and n."""
    return Cell(
        estimate_words(estimate, digits),
        estimate=estimate,
        bound=bound,
        unknown=estimate.estimate is None,
    )


def estimate_words(estimate: Estimate, digits: int = 2) -> str:
    """The figure as it is written everywhere: estimate, interval, n.

    Examples
    --------
    >>> estimate_words(Estimate(n=20, estimate=12.345, low=10.0, high=15.0), 1)
    '12.3 [10.0, 15.0] n = 20'
    >>> estimate_words(Estimate(n=0, unknown="nothing unflagged was cut"))
    'unknown: nothing unflagged was cut'
    """

    def fixed(value: float) -> str:
        return f"{round(value, digits) + 0.0:.{digits}f}"

    if estimate.estimate is None:
        because = f": {estimate.unknown}" if estimate.unknown else ""
        if estimate.low is not None and estimate.high is not None:
            return f"between {fixed(estimate.low)} and {fixed(estimate.high)}{because}"
        return f"unknown{because}"
    if estimate.method == "counted":
        return f"{estimate.estimate:g}"
    if estimate.low is None or estimate.high is None:
        return f"{fixed(estimate.estimate)} [no interval] n = {estimate.n}"
    return f"{fixed(estimate.estimate)} [{fixed(estimate.low)}, {fixed(estimate.high)}] n = {estimate.n}"


def share_words(estimate: Estimate) -> str:
    """A share in percent with interval and n.

    Examples
    --------
    >>> share_words(Estimate(n=112, count=102, estimate=0.911, low=0.842, high=0.956))
    '91 % [84, 96] n = 112'
    """
    if estimate.estimate is None or estimate.low is None or estimate.high is None:
        return estimate_words(estimate)
    return (
        f"{100 * estimate.estimate:.0f} % [{100 * estimate.low:.0f}, {100 * estimate.high:.0f}] "
        f"n = {estimate.n}"
    )
