"""The limit rule over many seams; `apply_limit_rule` is its specification."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from seamtell.features.contracts import CHANNELS, RecipeLimits
from seamtell.features.machine_code import kept
from seamtell.features.trace_batch import TraceBatch
from seamtell.models.limit_rule import GRID_SLACK, SATURATION_PCT, LimitResult, usable_limits
from seamtell.models.reasons import LimitReason
from seamtell.models.verdict import Verdict

__all__ = ["LIMIT_REASONS", "LimitResults", "apply_limit_rule_to_batch"]

LIMIT_REASONS = tuple(LimitReason)
"""What the reason codes stand for; -1 is no reason."""

_NONE = -1
_CODE = {reason: code for code, reason in enumerate(LIMIT_REASONS)}


@dataclass(frozen=True, eq=False)
class LimitResults:
    """What the limit rule says about n seams with C channels. The arrays cannot be written.

    Parameters
    ----------
    channels : tuple of str, length C
    verdicts : int8 array of shape (n,)
        `Verdict.ACCEPT` or `Verdict.REJECT`.
    exceeded : bool array of shape (n, C)
        Channels with a sample above the limit.
    reason_codes : int8 array of shape (n,)
        Index into `LIMIT_REASONS`; -1 for an accepted seam.

    Raises
    ------
    ValueError
        Verdict, channels and reason contradict each other, or the arrays are of another shape or type.
    """

    channels: tuple[str, ...]
    verdicts: NDArray[np.int8]
    exceeded: NDArray[np.bool_]
    reason_codes: NDArray[np.int8]

    def __post_init__(self) -> None:
        shape = (len(self.verdicts),)
        expected: dict[str, tuple[type[np.generic], tuple[int, ...]]] = {
            "verdicts": (np.int8, shape),
            "reason_codes": (np.int8, shape),
            "exceeded": (np.bool_, (*shape, len(self.channels))),
        }
        for name, (dtype, size) in expected.items():
            given = getattr(self, name)
            if type(given) is not np.ndarray or given.dtype != dtype or given.shape != size:
                raise ValueError(f"got other '{name}' than {dtype.__name__} of shape {size}")
            own = given.copy()
            own.setflags(write=False)
            object.__setattr__(self, name, own)
        accepts = self.verdicts == Verdict.ACCEPT
        if not (accepts | (self.verdicts == Verdict.REJECT)).all():
            raise ValueError("a limit result accepts or rejects, and nothing else")
        known = (self.reason_codes >= _NONE) & (self.reason_codes < len(LIMIT_REASONS))
        if not known.all() or (accepts != (self.reason_codes == _NONE)).any():
            raise ValueError("a limit result has a reason when it rejects, and only then")
        if (accepts & self.exceeded.any(axis=1)).any():
            raise ValueError("a limit result names channels only when it rejects")

    def __len__(self) -> int:
        return len(self.verdicts)

    def row(self, i: int) -> LimitResult:
        """Return the result of one seam."""
        names = [name for name, above in zip(self.channels, self.exceeded[i], strict=True) if above]
        code = int(self.reason_codes[i])
        reason = "" if code == _NONE else LIMIT_REASONS[code].value
        return LimitResult(Verdict(int(self.verdicts[i])), tuple(sorted(names)), reason)


def apply_limit_rule_to_batch(batch: TraceBatch, limits: Mapping[str, RecipeLimits]) -> LimitResults:
    """Judge the raw amplitudes of every seam; never raises for what a trace or limit may hold.

    Parameters
    ----------
    batch : TraceBatch
    limits : mapping of str to RecipeLimits
        By recipe; one that it does not hold has no limits.
    """
    rules = _Rules.of(batch, limits)
    reasons = rules.reasons[batch.recipe]
    reasons[(reasons == _NONE) & ~(np.isfinite(batch.pitch_mm) & (batch.pitch_mm > 0))] = _CODE[
        LimitReason.UNUSABLE_LIMITS
    ]
    missing = (reasons == _NONE) & _lacks_channel(batch, rules)
    reasons[missing] = _CODE[LimitReason.MISSING_CHANNEL]
    judging = reasons == _NONE
    first, last = _judged(batch, rules)
    thresholds = rules.thresholds[batch.recipe]
    exceeded = np.zeros((len(batch), len(batch.channels)), dtype=np.bool_)
    finite = np.ones(len(batch), dtype=np.bool_)
    for c in np.flatnonzero(rules.stated.any(axis=0)).tolist():
        here = judging & rules.stated[batch.recipe, c]
        starts, counts = (np.ascontiguousarray(array[:, c]) for array in (batch.starts, batch.counts))
        values = np.ascontiguousarray(batch.values[c], dtype=np.float32)
        _kernel()(values, starts, counts, first, last, thresholds[:, c].copy(), here, finite, exceeded[:, c])
    reasons[judging & ~finite] = _CODE[LimitReason.NON_FINITE_AMPLITUDE]
    reasons[(reasons == _NONE) & (last < first)] = _CODE[LimitReason.NOTHING_JUDGED]
    exceeded &= (reasons == _NONE)[:, None]
    reasons[exceeded.any(axis=1)] = _CODE[LimitReason.ABOVE_LIMIT]
    verdicts = np.where(reasons == _NONE, np.int8(Verdict.ACCEPT), np.int8(Verdict.REJECT))
    return LimitResults(batch.channels, verdicts.astype(np.int8), exceeded, reasons)


@dataclass(frozen=True, eq=False)
class _Rules:
    """The limits of the R recipes of a batch, laid out by its C channels."""

    reasons: NDArray[np.int8]  # (R,) why the recipe cannot be judged; -1 when it can
    stated: NDArray[np.bool_]  # (R, C)
    thresholds: NDArray[np.float32]  # (R, C) a sample at or above it rejects
    elsewhere: NDArray[np.bool_]  # (R,) states a limit for a channel that no seam of the batch has
    dead_mm: NDArray[np.float64]  # (R, 2) at the start and at the end

    @classmethod
    def of(cls, batch: TraceBatch, limits: Mapping[str, RecipeLimits]) -> _Rules:
        shape = (len(batch.recipes), len(batch.channels))
        rules = cls(
            np.full(shape[0], _NONE, np.int8),
            np.zeros(shape, np.bool_),
            np.full(shape, np.inf, np.float32),
            np.zeros(shape[0], np.bool_),
            np.zeros((shape[0], 2)),
        )
        for r, recipe in enumerate(batch.recipes):
            stated = limits.get(recipe)
            if stated is None or not set(CHANNELS) <= set(stated.limit_pct):
                rules.reasons[r] = _CODE[LimitReason.NO_LIMITS_FOR_RECIPE]
            elif not usable_limits(stated):
                rules.reasons[r] = _CODE[LimitReason.UNUSABLE_LIMITS]
            else:
                rules._state(r, batch.channels, stated)
        return rules

    def _state(self, r: int, channels: tuple[str, ...], stated: RecipeLimits) -> None:
        self.elsewhere[r] = not set(stated.limit_pct) <= set(channels)
        self.dead_mm[r] = stated.dead_zone_start_mm, stated.dead_zone_end_mm
        for c, name in enumerate(channels):
            if name in stated.limit_pct:
                self.stated[r, c], self.thresholds[r, c] = True, _least_above(stated.limit_pct[name])


def _least_above(limit_pct: float) -> np.float32:
    """The smallest amplitude that rejects: next above the limit as stored, or saturation."""
    with np.errstate(over="ignore"):
        above = np.nextafter(np.asarray(limit_pct, dtype=np.float32), np.float32(np.inf))
    return np.float32(min(float(above), SATURATION_PCT))


def _lacks_channel(batch: TraceBatch, rules: _Rules) -> NDArray[np.bool_]:
    """Whether a channel with a limit is absent, empty, of another length, or not wholly in the buffer."""
    stated = rules.stated[batch.recipe]
    same = batch.counts == batch.counts[:, :1]  # the first channel is a well-known one: always stated
    lacks = rules.elsewhere[batch.recipe] | (stated & ~(batch.whole & same)).any(axis=1)
    return np.asarray(lacks, dtype=np.bool_)


def _judged(batch: TraceBatch, rules: _Rules) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """First and last sample outside the dead zones; a sample on the edge is judged."""
    n = batch.counts[:, 0]
    with np.errstate(all="ignore"):
        inside = rules.dead_mm[batch.recipe] / batch.pitch_mm[:, None] - GRID_SLACK
        samples = np.ceil(np.clip(np.nan_to_num(inside), 0.0, n[:, None])).astype(np.int64)
    return samples[:, 0].copy(), n - 1 - samples[:, 1]


@cache
def _kernel() -> Any:
    of_seams = "Array(int64, 1, 'C', readonly=True)"
    return kept(
        _judge,
        f"void(Array(float32, 1, 'C', readonly=True), {of_seams}, {of_seams}, {of_seams}, {of_seams}, "
        "Array(float32, 1, 'C', readonly=True), Array(boolean, 1, 'C', readonly=True), "
        "boolean[::1], boolean[:])",
    )


def _judge(  # type: ignore[no-untyped-def]  # compiled by numba
    values, starts, counts, first, last, thresholds, here, finite, exceeded
):
    """Mark the seams with a sample that is no number, and those with one at or above the threshold."""
    for i in range(len(starts)):
        if not here[i]:
            continue
        samples = values[starts[i] : starts[i] + counts[i]]
        bad = 0
        for k in range(len(samples)):
            # x - x is 0 for a number, and NaN for NaN and infinity.
            bad |= samples[k] - samples[k] != 0.0
        if bad:
            finite[i] = False
        above = 0
        judged = samples[first[i] : max(last[i] + 1, 0)]
        for k in range(len(judged)):
            above |= judged[k] >= thresholds[i]
        exceeded[i] = above != 0
