"""How many sections a statement needs: demonstration tests, and the way to an interval bound.

Two questions of whoever plans the next cuts. *Demonstration*: how many flaws, with how
many misses, show a POD with a confidence (29 of 29, 45 of 46, 59 of 61 show 90 % with
95 %). *Criterion*: a figure must keep a bound at one end of its exact interval; if
performance stays as seen, how many sections does that take? Both are exact binomial.

References
----------
Clopper, C. J. and Pearson, E. S. (1934). The use of confidence or fiducial
limits illustrated in the case of the binomial. Biometrika 26, 404-413.
MIL-HDBK-1823A (2009), *Nondestructive evaluation system reliability assessment*: the
demonstration of 90 % with 95 % confidence by 29 of 29 (from memory).
Chernick, M. R. and Liu, C. Y. (2002). The saw-toothed behavior of power versus sample
size and software solutions. The American Statistician 56, 149-155.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from seamtell.pipeline.evaluation.intervals import DEFAULT_LEVEL

__all__ = [
    "DEFAULT_CHANCE",
    "MOST_SECTIONS",
    "ChancePoint",
    "DemonstrationRow",
    "Reach",
    "SectionsNeeded",
    "demonstrated",
    "demonstration_table",
    "flaws_needed",
    "sections_needed",
]

DEFAULT_CHANCE = 0.80
MOST_SECTIONS = 20_000
"""Above this the answer is "more than": no shop cuts so many."""

_ROUNDING = 1e-12
_CURVE_POINTS = 60

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]


class Reach(StrEnum):
    """Whether more sections help."""

    WITHIN_REACH = "within_reach"
    NEVER = "never"
    """The value seen lies on the wrong side of the bound, or on it."""
    BEYOND = "beyond"
    """More than `MOST_SECTIONS`: the value seen lies too near to the bound."""


@dataclass(frozen=True)
class DemonstrationRow:
    """One line of a demonstration table: so many flaws, of which so many may be missed."""

    misses: int
    flaws: int

    @property
    def hits(self) -> int:
        """Flaws found."""
        return self.flaws - self.misses


@dataclass(frozen=True)
class ChancePoint:
    """What one number of sections gives.

    Parameters
    ----------
    sections : int
    allowed : int or None
        Most cases on the bad side with which the bound still holds; None when no count does.
    chance : float
        Probability that the bound holds, performance as seen.
    """

    sections: int
    allowed: int | None
    chance: float


@dataclass(frozen=True)
class SectionsNeeded:
    """Sections that a criterion on an interval end takes, if performance stays as seen.

    Parameters
    ----------
    seen, bound : float
        Shares.
    at_most : bool
        The high end must stay at or below the bound; else the low end at or above it.
    level : float
        Of the two-sided Clopper-Pearson interval.
    wanted_chance : float
    reach : Reach
    for_chance : int or None
        Smallest number from which on the bound holds with the wanted chance.
    for_expected : int or None
        Smallest number from which on the bound holds at the expected count, rounded to the
        bad side: about an even chance, so too few to plan with.
    fewest : int
        What a sample without a single bad case takes; no luck does with less.
    table : tuple of ChancePoint
        The first number for a chance of 50, 80, 90 and 95 %; empty when out of reach.
    curve : tuple of ChancePoint
        Rising number of sections, for a figure.
    """

    seen: float
    bound: float
    at_most: bool
    level: float
    wanted_chance: float
    reach: Reach
    for_chance: int | None
    for_expected: int | None
    fewest: int
    table: tuple[ChancePoint, ...]
    curve: tuple[ChancePoint, ...]

    @property
    def words(self) -> str:
        """The answer as a sentence."""
        end, relation = ("high", "at most") if self.at_most else ("low", "at least")
        goal = f"the {end} end of the {100 * self.level:g} % interval {relation} {self.bound:g}"
        if self.reach is Reach.NEVER:
            return f"never: {self.seen:.3g} was seen, and more sections do not bring {goal}"
        if self.reach is Reach.BEYOND:
            return f"more than {MOST_SECTIONS:,} sections: {self.seen:.3g} was seen, too near to have {goal}"
        perfect = self.seen in (0.0, 1.0)
        caution = "; nothing went wrong so far, which a longer record seldom keeps up" if perfect else ""
        return (
            f"{self.for_chance} sections in all for {goal} with a chance of {100 * self.wanted_chance:g} %, "
            f"if performance stays at {self.seen:.3g}{caution}"
        )


def flaws_needed(pod: float, confidence: float, misses: int = 0) -> int:
    """Fewest flaws that show `pod` with `confidence` when `misses` of them are missed.

    Examples
    --------
    >>> [flaws_needed(0.90, 0.95, misses) for misses in (0, 1, 2)]
    [29, 46, 61]
    """
    _check_share("pod", pod)
    _check_share("confidence", confidence)
    if misses < 0:
        raise ValueError(f"got {misses} misses, expected none or more")
    low, high = misses, misses + 1
    while not demonstrated(high - misses, high, pod, confidence):
        low, high = high, 2 * high
    while high - low > 1:
        middle = (low + high) // 2
        if demonstrated(middle - misses, middle, pod, confidence):
            high = middle
        else:
            low = middle
    return high


def demonstrated(hits: int, n: int, pod: float, confidence: float) -> bool:
    """Whether `hits` of `n` flaws show a POD of at least `pod` with `confidence`, one-sided.

    Examples
    --------
    >>> demonstrated(29, 29, 0.90, 0.95), demonstrated(28, 29, 0.90, 0.95)
    (True, False)
    """
    from scipy.stats import binom

    _check_share("pod", pod)
    _check_share("confidence", confidence)
    if not 0 <= hits <= n:
        raise ValueError(f"got {hits} hits of {n}, expected 0 <= hits <= n")
    return bool(binom.sf(hits - 1, n, pod) <= (1 - confidence) * (1 + _ROUNDING))


def demonstration_table(
    pod: float = 0.90, confidence: float = 0.95, most_misses: int = 5
) -> tuple[DemonstrationRow, ...]:
    """Flaws needed for no miss, one miss, and so on.

    The number of misses that is allowed must be fixed before the first flaw is tested.
    """
    return tuple(
        DemonstrationRow(misses, flaws_needed(pod, confidence, misses)) for misses in range(most_misses + 1)
    )


def sections_needed(
    seen: float,
    bound: float,
    *,
    at_most: bool = False,
    level: float = DEFAULT_LEVEL,
    chance: float = DEFAULT_CHANCE,
) -> SectionsNeeded:
    """Sections after which an interval end keeps its bound, if performance stays as `seen`.

    Parameters
    ----------
    seen : float
        The share as it stands, 0 to 1.
    bound : float
        Above 0 and below 1.
    at_most : bool
        The high end of the interval at most `bound`; else the low end at least `bound`.
    level : float
        Of the two-sided Clopper-Pearson interval.
    chance : float
        With which the bound shall hold.

    Raises
    ------
    ValueError
        A share out of its range.

    Examples
    --------
    >>> sections_needed(1.0, 0.90, level=0.90).for_chance
    29
    >>> sections_needed(0.85, 0.90).reach
    <Reach.NEVER: 'never'>
    """
    if not 0 <= seen <= 1:
        raise ValueError(f"got a share seen of {seen}, expected 0 to 1")
    for name, value in (("bound", bound), ("level", level), ("chance", chance)):
        _check_share(name, value)
    # An upper bound on a share is a lower bound on the rest; from here on "good" must be at least "goal".
    good, goal = (1 - seen, 1 - bound) if at_most else (seen, bound)
    tail = (1 - level) / 2
    fewest = math.ceil(math.log(tail) / math.log(goal) - 1e-9)
    reach, last = _reach(good, goal, tail, chance)
    counts = np.arange(1, last + 1)
    needed = _fewest_good(counts, goal, tail)
    chances = _chances(counts, needed, good)
    first = _stays(counts, chances >= chance) if reach is Reach.WITHIN_REACH else None
    expected = np.floor(counts * good + 1e-9) >= needed
    curve_end = last if first is None else min(last, max(2 * first, fewest + 5))
    shown = np.unique(np.linspace(1, curve_end, _CURVE_POINTS).round().astype(np.int64))
    firsts = [_stays(counts, chances >= wanted) for wanted in (0.5, 0.8, 0.9, 0.95)] if first else []
    return SectionsNeeded(
        seen=seen,
        bound=bound,
        at_most=at_most,
        level=level,
        wanted_chance=chance,
        reach=reach,
        for_chance=first,
        for_expected=_stays(counts, expected) if first else None,
        fewest=fewest,
        table=tuple(_point(n, needed, chances) for n in firsts if n is not None),
        curve=tuple(_point(int(n), needed, chances) for n in shown),
    )


def _reach(good: float, goal: float, tail: float, chance: float) -> tuple[Reach, int]:
    """Whether the goal is within reach, and up to how many sections to look."""
    from scipy.stats import norm

    if good <= goal:
        return Reach.NEVER, 200

    def about(with_chance: float) -> float:
        spread = norm.isf(tail) * math.sqrt(goal * (1 - goal))
        spread += norm.ppf(with_chance) * math.sqrt(good * (1 - good))
        return float(spread / (good - goal)) ** 2

    if about(chance) > MOST_SECTIONS:
        return Reach.BEYOND, MOST_SECTIONS
    # Twice the normal approximation leaves room for the saw teeth and for its error with few cases.
    most = 2 * about(max(chance, 0.95)) + 2 * math.log(tail) / math.log(goal) + 50
    return Reach.WITHIN_REACH, math.ceil(most)


def _fewest_good(counts: Ints, goal: float, tail: float) -> Ints:
    """Least number of good cases with the low end at or above the goal; above `counts` where none does."""
    from scipy.stats import binom

    return np.asarray(binom.isf(tail, counts, goal), dtype=np.int64) + 1


def _chances(counts: Ints, needed: Ints, good: float) -> Floats:
    from scipy.stats import binom

    return np.asarray(binom.sf(needed - 1, counts, good), dtype=np.float64)


def _stays(counts: Ints, holds: NDArray[np.bool_]) -> int | None:
    """First count from which on it holds, as far as was looked; the saw teeth before it do not count."""
    fails = np.flatnonzero(~holds)
    first = int(fails[-1]) + 1 if len(fails) else 0
    return int(counts[first]) if first < len(counts) else None


def _point(sections: int, needed: Ints, chances: Floats) -> ChancePoint:
    allowed = sections - int(needed[sections - 1])
    return ChancePoint(sections, allowed if allowed >= 0 else None, float(chances[sections - 1]))


def _check_share(name: str, value: float) -> None:
    if not 0 < value < 1:
        raise ValueError(f"got {name} {value}, expected a number between 0 and 1")
