"""Run rules on a control chart, and how often each cries wolf.

The four rules of the Western Electric handbook, on values in standard deviations from the
centre line. Every rule added finds a change sooner and gives more false alarms; its average
run length, the mean number of periods to the first false alarm, is simulated and stated.

References
----------
Western Electric Company (1956). Statistical Quality Control Handbook (from memory).
Champ, C. W. and Woodall, W. H. (1987). Exact results for Shewhart control charts with
supplementary runs rules. Technometrics 29, 393-399.
"""

from __future__ import annotations

from collections.abc import Collection
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

__all__ = ["RunRule", "average_run_length", "signals"]


class RunRule(StrEnum):
    """One rule."""

    BEYOND_THREE = "beyond_three_sigma"
    TWO_OF_THREE = "two_of_three_beyond_two_sigma"
    FOUR_OF_FIVE = "four_of_five_beyond_one_sigma"
    EIGHT_IN_A_ROW = "eight_in_a_row_on_one_side"

    @property
    def words(self) -> str:
        """The rule in words."""
        return self.value.replace("_", " ").replace("sigma", "standard deviations")


_WINDOWS: dict[RunRule, tuple[int, int, float]] = {
    RunRule.BEYOND_THREE: (1, 1, 3.0),
    RunRule.TWO_OF_THREE: (2, 3, 2.0),
    RunRule.FOUR_OF_FIVE: (4, 5, 1.0),
    RunRule.EIGHT_IN_A_ROW: (8, 8, 0.0),
}
"""Of each rule: how many, of how many, beyond how many standard deviations."""


def signals(z: NDArray[np.float64], rule: RunRule) -> NDArray[np.bool_]:
    """Where a rule speaks.

    Parameters
    ----------
    z : array of shape (..., periods)
        Values in standard deviations from the centre line.
    rule : RunRule

    Returns
    -------
    bool array of shape (..., periods)
        The period that completes the pattern; it has to be part of it.

    Examples
    --------
    >>> print(signals(np.array([0.0, 2.1, -0.5, 2.2, 0.0]), RunRule.TWO_OF_THREE))
    [False False False  True False]
    """
    wanted, window, beyond = _WINDOWS[rule]
    found = np.zeros(z.shape, dtype=np.bool_)
    for side in (z, -z):
        out = side > beyond
        running = np.cumsum(out, axis=-1)
        before = np.zeros_like(running)
        before[..., window:] = running[..., :-window]
        found |= out & (running - before >= wanted)
    return found


def average_run_length(
    rules: Collection[RunRule],
    rng: np.random.Generator,
    *,
    mean_count: float | None = None,
    series: int = 400,
    periods: int = 1500,
) -> float:
    """Mean number of periods to the first false alarm of a process that never changes.

    Parameters
    ----------
    rules : collection of RunRule
        All in use at once.
    rng : numpy.random.Generator
    mean_count : float, optional
        Flaws a period, for counts that are Poisson; default: normal values.
    series, periods : int
        Simulated; series without an alarm count with their full length.
    """
    if mean_count is None:
        z = rng.standard_normal((series, periods))
    else:
        z = (rng.poisson(mean_count, (series, periods)) - mean_count) / np.sqrt(mean_count)
    any_rule = np.zeros(z.shape, dtype=np.bool_)
    for rule in rules:
        any_rule |= signals(z, rule)
    alarmed = any_rule.any(axis=1)
    lengths = np.where(alarmed, np.argmax(any_rule, axis=1) + 1, periods)
    return float(lengths.sum() / max(1, int(alarmed.sum())))
