"""Where two sections of plate touch, and the trial functions for the flux there.

An aperture ends either flush with both sections, on a re-entrant corner, or on a crack
tip. Flush at both ends, the sections are the same there and their own cosine modes
serve. Otherwise the functions are Gegenbauer polynomials times their weight
(1 - t^2)^(lambda - 1/2), t from the middle, with lambda = 1/6 for corners of 270 degrees and 0 for
crack tips; flush at one end, even ones of an aperture doubled by its mirror image.
Their overlaps with cosines are Bessel functions, read from a table.

References
----------
Transform of weighted Gegenbauer polynomials: NIST Digital Library of Mathematical
Functions, 18.17.17 (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from math import ceil, cos, pi, sqrt

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.special import gamma as gamma_function
from scipy.special import jv

from seamtell.data_synth.arrays import Floats

__all__ = ["Aperture", "apertures_between"]

Interval = tuple[float, float]

_CORNER, _TIP = 1 / 6, 0.0
_SAME_MM = 1e-9
_FEWEST_MODES, _MODES_PER_FUNCTION = 24, 4
_MOST_MODES_PER_FUNCTION = 100
_TABLE_STEP = 0.04


@dataclass(frozen=True)
class Aperture:
    """Heights at which two sections touch.

    Parameters
    ----------
    low_mm, high_mm : float
    low_flush, high_flush : bool
        Whether both sections end there.
    exponent : float
        Lambda of the Gegenbauer weight.
    size : int
        Number of trial functions.
    """

    low_mm: float
    high_mm: float
    low_flush: bool
    high_flush: bool
    exponent: float
    size: int = 0

    def with_functions(self, size: int) -> Aperture:
        """Return the same aperture with `size` trial functions."""
        return replace(self, size=size)

    def within(self, interval: Interval) -> bool:
        """Whether the aperture opens into this interval."""
        return interval[0] - _SAME_MM <= self.low_mm and self.high_mm <= interval[1] + _SAME_MM

    @property
    def _half_mm(self) -> float:
        """Half length, of the doubled aperture if one end is flush."""
        height = self.high_mm - self.low_mm
        return height if self.low_flush or self.high_flush else height / 2

    def modes_needed(self, height_mm: float) -> int:
        """How many modes of an interval of this height resolve the trial functions."""
        if self.low_flush and self.high_flush:
            return self.size
        return min(ceil(self._reach * height_mm / (pi * self._half_mm)), _MOST_MODES_PER_FUNCTION * self.size)

    @property
    def _reach(self) -> float:
        """Phase up to which overlaps are kept."""
        # the tail's closed form holds beyond half the square of the highest order
        periods = _FEWEST_MODES + _MODES_PER_FUNCTION * self.size + max(self.size - 12, 0) ** 2 / 3
        return pi * periods * (2 if self.exponent == _TIP else 1)

    @lru_cache(maxsize=1024)  # noqa: B019 - frozen and hashed by value; neighbours in a table share most
    def tail(self, interval: Interval) -> Floats:
        """Sum over the modes that :meth:`overlap` leaves out, shape (size, size).

        Far up, an overlap is the wave of the flux's singular ends alone; its squares,
        over the decay constant of the mode, are summed in closed form.
        """
        found = np.zeros((self.size, self.size))
        if not self.within(interval) or (self.low_flush and self.high_flush):
            return found
        height, power = interval[1] - interval[0], 1 + 2 * self.exponent
        first = self.modes_needed(height) - 0.5
        size = 4 / pi**2 * (pi * self._half_mm / height) ** -power * first**-power / power
        doubled = self.low_flush or self.high_flush
        order = np.arange(self.size)
        scale = np.sqrt(order * (2 if doubled else 1) + 1.0)
        for place, at_end, flush, sign in (
            (self.low_mm, interval[0], self.low_flush, (-1.0) ** order),
            (self.high_mm, interval[1], self.high_flush, np.ones(self.size)),
        ):
            if flush:
                continue
            share = cos(pi * (self.exponent / 2 + 0.25)) ** 2 if abs(place - at_end) < _SAME_MM else 0.5
            end = scale if doubled else scale * sign / 2
            found += size * share * np.outer(end, end)
        return found

    @lru_cache(maxsize=128)  # noqa: B019 - the same, and small, as these are large
    def overlap(self, interval: Interval, count: int) -> Floats:
        """Integrals of orthonormal modes times trial functions, shape (count, size)."""
        found = np.zeros((count, self.size))
        if not self.within(interval):
            return found
        if self.low_flush and self.high_flush:
            np.fill_diagonal(found, 1.0)
            return found
        height = interval[1] - interval[0]
        kept = min(count, self.modes_needed(height))
        rate = np.arange(kept) * pi / height
        scale = np.full(kept, sqrt(2 / height))
        scale[0] = sqrt(1 / height)
        one_flush = self.low_flush or self.high_flush
        table = _transforms(self.exponent, 2 if one_flush else 1, self.size, self._reach)
        values = table(rate * self._half_mm)
        if one_flush:
            flush = self.low_mm if self.low_flush else self.high_mm
            sign = np.cos(rate * (flush - interval[0]))
            alternating = np.where(np.arange(self.size) % 2, -1.0, 1.0)
            found[:kept] = (scale * sign)[:, None] * values * alternating
        else:
            orders = np.arange(self.size)
            phase = rate * ((self.low_mm + self.high_mm) / 2 - interval[0])
            turned = np.stack([np.cos(phase), -np.sin(phase), -np.cos(phase), np.sin(phase)], axis=1)
            found[:kept] = scale[:, None] * values * turned[:, orders % 4]
        return found


def apertures_between(
    before: Sequence[Interval], after: Sequence[Interval], cracks: Sequence[Sequence[Interval]]
) -> list[Aperture]:
    """List the apertures between two sections, narrowed by the ligaments of cracks between them."""
    open_parts = _common(list(before), list(after))
    for crack in cracks:
        open_parts = _common(open_parts, list(crack))
    return [_aperture(low, high, before, after) for low, high in open_parts]


def _common(one: list[Interval], other: list[Interval]) -> list[Interval]:
    parts = [(max(a, c), min(b, d)) for a, b in one for c, d in other]
    return sorted((low, high) for low, high in parts if high - low > _SAME_MM)


def _aperture(low: float, high: float, before: Sequence[Interval], after: Sequence[Interval]) -> Aperture:
    ends = []
    for place, side in ((low, 0), (high, 1)):
        ends.append(sum(any(abs(i[side] - place) < _SAME_MM for i in s) for s in (before, after)))
    tip = 0 in ends
    return Aperture(low, high, ends[0] == 2, ends[1] == 2, _TIP if tip else _CORNER)


@lru_cache(maxsize=32)
def _transforms(exponent: float, step: int, size: int, reach: float) -> CubicSpline:
    """Table of J_(n + lambda)(x) / x^lambda for n = 0, step, 2 step, ...; each scaled to order one."""
    x = _TABLE_STEP * np.arange(ceil(reach / _TABLE_STEP) + 8)
    orders = step * np.arange(size)
    values = _bessel(exponent, int(orders[-1]) + 1, x)[:, orders]
    values[1:] /= x[1:, None] ** exponent
    values[0] = 0.0
    values[0, 0] = 1 / (2**exponent * gamma_function(1 + exponent))
    return CubicSpline(x, values * np.sqrt(orders + 1.0))


def _bessel(exponent: float, count: int, x: Floats) -> Floats:
    """J_(n + lambda) for n < count; by rising recurrence, stable where x is beyond the order."""
    near = int(np.searchsorted(x, 2 * count))
    found = np.empty((len(x), count))
    found[:near] = jv(np.arange(count) + exponent, x[:near, None])
    far = x[near:]
    for n in range(count):
        if n < 2:
            found[near:, n] = jv(n + exponent, far)
        else:
            back = 2 * (n - 1 + exponent) / far
            found[near:, n] = back * found[near:, n - 1] - found[near:, n - 2]
    return found
