"""The approved limit rule: a seam fails when any sample exceeds its channel's limit.

The rule knows nothing of descriptors or models. Whatever it cannot judge, it
rejects: an unknown recipe, a missing channel, a sample that is not a number.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seamtell.features.contracts import CHANNELS, RecipeLimits, SeamTrace
from seamtell.models.reasons import LimitReason
from seamtell.models.verdict import Verdict

__all__ = ["GRID_SLACK", "SATURATION_PCT", "LimitResult", "apply_limit_rule", "usable_limits"]

SATURATION_PCT = 100.0
"""A sample at full screen height: its true height is unknown, so it counts as above any limit."""

GRID_SLACK = 1e-6
"""Share of a sample by which a dead zone may miss a grid point: rounding of positions only."""


@dataclass(frozen=True)
class LimitResult:
    """What the limit rule says about one seam.

    Parameters
    ----------
    verdict : Verdict
        ``ACCEPT`` or ``REJECT``; the rule never asks for a review.
    exceeded_channels : tuple of str
        Channels with a sample above the limit, in alphabetical order.
    reason : str
        A `LimitReason`; empty for an accepted seam.

    Raises
    ------
    ValueError
        The verdict is neither, or verdict, channels and reason contradict each other.
    """

    verdict: Verdict
    exceeded_channels: tuple[str, ...]
    reason: str

    def __post_init__(self) -> None:
        accepts = self.verdict is Verdict.ACCEPT
        if not accepts and self.verdict is not Verdict.REJECT:
            raise ValueError(f"a limit result accepts or rejects, got {self.verdict!r}")
        if accepts == bool(self.reason) or (accepts and self.exceeded_channels):
            raise ValueError("a limit result has a reason when it rejects, and only then")


def apply_limit_rule(trace: SeamTrace, limits: RecipeLimits | None) -> LimitResult:
    """Judge the raw amplitudes of one seam; never raises for what a trace or limit may hold.

    A sample is above its limit when it is strictly greater at the precision of
    the stored amplitudes, or saturated. Samples on the edge of a dead zone are
    judged.

    Parameters
    ----------
    trace : SeamTrace
    limits : RecipeLimits or None
        None when the procedure states nothing for the recipe.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> limits = RecipeLimits("R1", {"specular": 20.0, "scatter": 5.0}, 10.0, 10.0, 9.0)
    >>> flat = {name: np.full(200, 4.0, np.float32) for name in ("specular", "scatter")}
    >>> trace = SeamTrace("S1", datetime(2026, 1, 1, tzinfo=UTC), "L1", "R1", 0.0, 0.5, flat)
    >>> apply_limit_rule(trace, limits).verdict.text
    'accept'
    >>> apply_limit_rule(trace, None).reason
    'no_limits_for_recipe'
    """
    if limits is None or not set(CHANNELS) <= set(limits.limit_pct):
        return _rejected(LimitReason.NO_LIMITS_FOR_RECIPE)
    if not usable_limits(limits) or not (math.isfinite(trace.pitch_mm) and trace.pitch_mm > 0):
        return _rejected(LimitReason.UNUSABLE_LIMITS)
    lengths = {len(trace.amplitudes_pct.get(name, ())) for name in limits.limit_pct}
    if len(lengths) != 1 or 0 in lengths:
        return _rejected(LimitReason.MISSING_CHANNEL)
    if not all(np.isfinite(trace.amplitudes_pct[name]).all() for name in limits.limit_pct):
        return _rejected(LimitReason.NON_FINITE_AMPLITUDE)
    judged = _judged_samples(lengths.pop(), trace.pitch_mm, limits)
    if judged.stop <= judged.start:
        return _rejected(LimitReason.NOTHING_JUDGED)
    exceeded = tuple(
        name
        for name, limit_pct in sorted(limits.limit_pct.items())
        if _exceeds(trace.amplitudes_pct[name][judged], limit_pct)
    )
    if exceeded:
        return LimitResult(Verdict.REJECT, exceeded, LimitReason.ABOVE_LIMIT.value)
    return LimitResult(Verdict.ACCEPT, (), "")


def _rejected(reason: LimitReason) -> LimitResult:
    return LimitResult(Verdict.REJECT, (), reason.value)


def usable_limits(limits: RecipeLimits) -> bool:
    """Return whether all limits and dead zones are finite and not negative."""
    numbers = [*limits.limit_pct.values(), limits.dead_zone_start_mm, limits.dead_zone_end_mm]
    return all(math.isfinite(x) and x >= 0 for x in numbers)


def _judged_samples(n: int, pitch_mm: float, limits: RecipeLimits) -> slice:
    """Return the samples outside the dead zones; a sample on the edge is judged."""
    first, behind = (
        math.ceil(min(dead_mm / pitch_mm - GRID_SLACK, n))  # a quotient may overflow to infinity
        for dead_mm in (limits.dead_zone_start_mm, limits.dead_zone_end_mm)
    )
    return slice(first, max(n - behind, 0))


def _exceeds(amplitudes_pct: NDArray[np.float32], limit_pct: float) -> bool:
    # The limit is rounded as the amplitudes were when stored, so that a sample written as
    # exactly the limit is not above it whatever way the rounding went.
    with np.errstate(over="ignore"):  # a limit beyond every float32 is above every sample
        limit = np.asarray(limit_pct, dtype=amplitudes_pct.dtype)
    return bool(((amplitudes_pct > limit) | (amplitudes_pct >= SATURATION_PCT)).any())
