"""Ratios of rows of one run: they carry over to other machines, and a fall of one is a loss of speed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from speed.timing import Measured

__all__ = ["LARGEST_FALL", "RATIOS", "Fall", "Ratio", "RatioPlan", "falls", "ratios_of"]

LARGEST_FALL = 0.15
"""A fall by a larger share of the committed ratio is warned of."""


@dataclass(frozen=True)
class RatioPlan:
    """Which row is divided by which.

    Parameters
    ----------
    key, over : str
        Keys of two rates.
    words : str
    must : float or None
        What it has to reach, where something was promised.
    """

    key: str
    over: str
    words: str
    must: float | None = None

    @property
    def name(self) -> str:
        """Key of the ratio."""
        return f"{self.key}/{self.over}"


RATIOS = (
    RatioPlan("kernel", "scipy", "describe over the SciPy loop", 34.0),
    RatioPlan("kernel", "pycatch22", "describe over catch22", 150.0),
    RatioPlan("kernel", "tsfel", "describe over TSFEL"),
    RatioPlan("kernel", "memory", "describe over the memory pass"),
    RatioPlan("kernel", "readable", "describe, compiled over readable"),
    RatioPlan("kernel_2", "kernel", "two threads over one", 1.8),
    RatioPlan("classify_10000", "kernel", "classify 10,000 seams over describe on one core"),
    RatioPlan("classify_100000", "kernel", "classify 100,000 seams over describe on one core"),
    RatioPlan("classify_1000000", "kernel", "classify 1,000,000 seams over describe on one core"),
    RatioPlan("answer_lightgbm", "kernel", "indications answered by 300 trees over seams described"),
    RatioPlan(
        "answer_logistic", "kernel", "indications answered by logistic regression over seams described"
    ),
)


@dataclass(frozen=True)
class Ratio:
    """A ratio that was measured."""

    name: str
    words: str
    value: float
    must: float | None = None


@dataclass(frozen=True)
class Fall:
    """A ratio that is lower than the committed one by more than noise explains.

    Parameters
    ----------
    share : float
        By how much of the committed value it fell.
    """

    words: str
    committed: float
    now: float
    share: float

    def in_words(self) -> str:
        """Say it in one line."""
        return (
            f"warning: {self.words}: {self.now:,.3g}, committed {self.committed:,.3g}, "
            f"{100 * self.share:.0f} % lower"
        )


def ratios_of(rows: Sequence[Measured], plans: Sequence[RatioPlan] = RATIOS) -> list[Ratio]:
    """Divide the best runs; a ratio with a row that was not measured is left out."""
    best = {row.key: row.best for row in rows}
    return [
        Ratio(plan.name, plan.words, best[plan.key] / best[plan.over], plan.must)
        for plan in plans
        if plan.key in best and plan.over in best
    ]


def falls(now: Sequence[Ratio], committed: Mapping[str, float], largest: float = LARGEST_FALL) -> list[Fall]:
    """Find ratios that fell by more than `largest` of what is committed; one that is new cannot fall.

    Examples
    --------
    >>> falls([Ratio("a/b", "a over b", 8.0)], {"a/b": 10.0})[0].in_words()
    'warning: a over b: 8, committed 10, 20 % lower'
    """
    found = []
    for ratio in now:
        before = committed.get(ratio.name)
        if before is not None and ratio.value < (1.0 - largest) * before:
            found.append(Fall(ratio.words, before, ratio.value, 1.0 - ratio.value / before))
    return found
