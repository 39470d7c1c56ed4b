"""Statements that hold for several classes or tests at once.

Five intervals of 95 % each leave the chance that at least one of them fails near 23 %.
Bounds are made wide enough together by Bonferroni; p-values are adjusted by Holm.

References
----------
Dunn, O. J. (1961). Multiple comparisons among means. Journal of the American Statistical
Association 56, 52-64 (simultaneous intervals by Bonferroni's inequality).
Holm, S. (1979). A simple sequentially rejective multiple test procedure. Scandinavian
Journal of Statistics 6, 65-70.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from seamtell.pipeline.acceptance.record import ClassBound
from seamtell.pipeline.evaluation.intervals import DEFAULT_LEVEL, share, unknown

__all__ = ["bonferroni_level", "class_bounds", "holm", "simultaneous_words"]


def bonferroni_level(level: float, statements: int) -> float:
    """Level of each of `statements` intervals so that all hold together with at least `level`.

    Examples
    --------
    >>> round(bonferroni_level(0.95, 5), 10)
    0.99
    """
    if statements < 1:
        raise ValueError(f"got {statements} statements, expected at least one")
    if not 0 < level < 1:
        raise ValueError(f"got level {level}, expected a number between 0 and 1")
    return 1 - (1 - level) / statements


def holm(p_values: Sequence[float | None]) -> tuple[float | None, ...]:
    """P-values adjusted for being many, in the order given; None stays None and is not counted.

    Examples
    --------
    >>> [round(p, 4) for p in holm([0.01, 0.04, 0.03])]
    [0.03, 0.06, 0.06]
    """
    known = sorted((p, place) for place, p in enumerate(p_values) if p is not None)
    adjusted: list[float | None] = [None] * len(p_values)
    running = 0.0
    for rank, (p, place) in enumerate(known):
        if not 0 <= p <= 1:
            raise ValueError(f"got p = {p}, expected a number between 0 and 1")
        running = max(running, min(1.0, (len(known) - rank) * p))
        adjusted[place] = running
    return tuple(adjusted)


def class_bounds(
    counts: Mapping[str, tuple[int, int]], level: float = DEFAULT_LEVEL
) -> tuple[ClassBound, ...]:
    """Recall of every class with exact intervals that hold for all classes at once.

    Parameters
    ----------
    counts : mapping of str to (int, int)
        Class to the sections labelled right and all sections of it. A class without a
        section has an unknown recall and no part in the correction.
    level : float
        That all intervals hold together.
    """
    with_sections = sum(total > 0 for _, total in counts.values())
    each = bonferroni_level(level, max(1, with_sections))
    method = f"Bonferroni over {with_sections} classes, Clopper-Pearson each"
    return tuple(
        ClassBound(
            label=label,
            recall=share(right, total, level=each) if total else unknown("no section", level=each),
            level_each=each,
            method=method,
        )
        for label, (right, total) in counts.items()
    )


def simultaneous_words(bounds: Sequence[ClassBound], level: float = DEFAULT_LEVEL) -> str:
    """The statement as a sentence, naming the weakest class.

    Examples
    --------
    >>> print(simultaneous_words(class_bounds({"pinhole": (28, 30), "mismatch": (9, 12)})))
    With 95 % confidence for all 2 classes at once, no recall is below 0.39 (weakest: mismatch);
    each interval has the level 97.5 % (Bonferroni).
    """
    known = [(one.recall.low, one.label) for one in bounds if one.recall.low is not None]
    if not known:
        return "No class has a section, so nothing can be said of all classes at once."
    low, label = min(known)
    words = (
        f"With {100 * level:g} % confidence for all {len(known)} classes at once, no recall is below "
        f"{low:.2f} (weakest: {label}); each interval has the level "
        f"{100 * bounds[0].level_each:g} % (Bonferroni)."
    )
    silent = [one.label for one in bounds if one.recall.low is None]
    return words + (f" Nothing is said of {', '.join(silent)}: no section." if silent else "")
