"""What a descriptor reads: the two channels around one indication, and its surroundings."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from seamtell.features.contracts import Channel
from seamtell.features.rounding import SLACK

__all__ = ["Crossings", "Hump", "IndicationView", "Profile"]

HUMP_SHARE = 0.1
"""A hump must stand out by this share of the height of its profile."""
HUMP_SIGMA = 2.0
"""… and by this many times the noise of single samples."""


@dataclass(frozen=True)
class Crossings:
    """Where a profile crosses a level, on either side."""

    left_mm: float
    right_mm: float

    @property
    def width_mm(self) -> float:
        """Distance between both."""
        return self.right_mm - self.left_mm


@dataclass(frozen=True)
class Hump:
    """One local maximum that stands out."""

    index: int
    position_mm: float
    height_pct: float


@dataclass(frozen=True, eq=False)
class Profile:
    """One channel in the window of one indication.

    Parameters
    ----------
    position_mm, excursion_pct : ndarray of shape (w,)
        Regular grid; smoothed amplitude less baseline, % FSH.
    first, last : int
        Samples of the window where the extent of the indication begins and ends.
    noise_pct : float
        Noise of single samples.
    level_pct : float
        Baseline of this channel at the indication.
    specular_level_pct : float
        Baseline of `specular` there: the unit for heights; at least its noise.
    highest_pct : float
        Highest raw amplitude in the extent.
    limit_pct : float
        Infinite when the recipe states none.
    beam_mm : float
    """

    position_mm: NDArray[np.float64]
    excursion_pct: NDArray[np.float64]
    first: int
    last: int
    noise_pct: float
    level_pct: float
    specular_level_pct: float
    highest_pct: float
    limit_pct: float
    beam_mm: float

    @cached_property
    def pitch_mm(self) -> float:
        """Distance between samples; the beam width when there is only one."""
        return float(self.position_mm[1] - self.position_mm[0]) if len(self.position_mm) > 1 else self.beam_mm

    @cached_property
    def extent_pct(self) -> NDArray[np.float64]:
        """Excursion inside the extent, shape (m,)."""
        return self.excursion_pct[self.first : self.last + 1]

    @cached_property
    def extent_mm(self) -> NDArray[np.float64]:
        """Positions inside the extent, shape (m,)."""
        return self.position_mm[self.first : self.last + 1]

    @cached_property
    def peak(self) -> int:
        """Sample of the window with the highest excursion of the extent; the middle one of a plateau."""
        highest = (self.extent_pct == self.extent_pct.max()).nonzero()[0]
        return self.first + int(highest[(len(highest) - 1) // 2])

    @cached_property
    def height_pct(self) -> float:
        """Highest excursion, at least zero."""
        return max(0.0, float(self.excursion_pct[self.peak]))

    @cached_property
    def sure_height_pct(self) -> float:
        """Height, but never less than the noise: for ratios and decibels."""
        return max(self.height_pct, self.noise_pct)

    @cached_property
    def weights_pct(self) -> NDArray[np.float64]:
        """Excursion inside the extent, negative parts cut off: weights of the moments."""
        return np.maximum(self.extent_pct, 0.0)

    @cached_property
    def area_pct_mm(self) -> float:
        """Area under the positive excursion inside the extent."""
        return float(self.weights_pct.sum()) * self.pitch_mm

    @cached_property
    def _centre(self) -> float:
        """Centre of gravity of the positive excursion in samples from the begin of the extent."""
        return float(self.weights_pct @ np.arange(len(self.weights_pct))) / float(self.weights_pct.sum())

    @cached_property
    def centre_mm(self) -> float:
        """Centre of gravity of the positive excursion; the peak when there is none."""
        if float(self.weights_pct.sum()) <= 0.0:
            return float(self.position_mm[self.peak])
        return float(self.extent_mm[0]) + self._centre * self.pitch_mm

    @cached_property
    def moments(self) -> tuple[float, float, float]:
        """Second, third and fourth central moment over position, in mm², mm³, mm⁴.

        In samples first: what is one sample wide then has no spread at all, wherever it lies.
        """
        total = float(self.weights_pct.sum())
        if total <= 0.0:
            return 0.0, 0.0, 0.0
        away = np.arange(len(self.weights_pct)) - self._centre
        square = away * away
        weighted = self.weights_pct * square / total
        pitch = self.pitch_mm
        return (
            float(weighted.sum()) * pitch**2,
            float(weighted @ away) * pitch**3,
            float(weighted @ square) * pitch**4,
        )

    def crossings(self, share: float) -> Crossings:
        """Where the profile first falls to a share of its height on the way out from its peak.

        Linear between samples; the window's end when it does not fall so far; the peak
        on both sides when there is no height.
        """
        if share not in self._inner:
            self._inner[share] = self._crossings_from(self.peak, self.peak, share * self.height_pct)
        return self._inner[share]

    def outer_crossings(self, share: float) -> Crossings:
        """Where the profile rises to a share of its height for the first and last time in the extent."""
        if share not in self._outer:
            level = share * self.height_pct
            above = (self.extent_pct >= level).nonzero()[0]
            ends = (int(above[0]), int(above[-1])) if len(above) else (self.peak - self.first,) * 2
            self._outer[share] = self._crossings_from(self.first + ends[0], self.first + ends[1], level)
        return self._outer[share]

    @cached_property
    def _inner(self) -> dict[float, Crossings]:
        """Crossings found so far; several descriptors ask for the same."""
        return {}

    @cached_property
    def _outer(self) -> dict[float, Crossings]:
        """Outer crossings found so far."""
        return {}

    def _crossings_from(self, left: int, right: int, level: float) -> Crossings:
        values, x = self.excursion_pct, self.position_mm
        if self.height_pct <= 0.0:
            return Crossings(float(x[self.peak]), float(x[self.peak]))
        below = (values[:left] < level).nonzero()[0]
        after = (values[right + 1 :] < level).nonzero()[0]
        left_mm, right_mm = float(x[0]), float(x[-1])
        if len(below):
            i = int(below[-1])
            left_mm = float(x[i] + self.pitch_mm * (level - values[i]) / (values[i + 1] - values[i]))
        if len(after):
            i = right + 1 + int(after[0])
            right_mm = float(x[i] - self.pitch_mm * (level - values[i]) / (values[i - 1] - values[i]))
        return Crossings(left_mm, right_mm)

    @cached_property
    def humps(self) -> tuple[Hump, ...]:
        """Local maxima that stand out of their surroundings, highest first.

        Of several equally high ones on one flat top, the first counts.
        """
        values = self.excursion_pct
        # In a quantised trace a fall is often just as large as it has to be.
        least = max(HUMP_SHARE * self.height_pct, HUMP_SIGMA * self.noise_pct) * (1.0 - SLACK)
        found = [i for i in _local_maxima(values) if self.first <= i <= self.last and values[i] >= least]
        humps: list[Hump] = []
        for i in sorted(found, key=lambda i: (-values[i], i)):
            apart = all(values[min(i, h.index) : max(i, h.index)].min() <= values[i] - least for h in humps)
            if apart and self.prominence_pct(i) >= least:
                humps.append(Hump(i, float(self.position_mm[i]), float(values[i])))
        return tuple(humps)

    @cached_property
    def peak_prominence_pct(self) -> float:
        """Prominence of the peak."""
        return self.prominence_pct(self.peak)

    def prominence_pct(self, index: int) -> float:
        """Height of a sample above the higher of the two lowest points on the way to anything higher."""
        height = self.excursion_pct[index]
        saddles = []
        for side in (self.excursion_pct[index::-1], self.excursion_pct[index:]):
            higher = (side > height).nonzero()[0]
            saddles.append(side[: higher[0]].min() if len(higher) else side.min())
        return float(height - max(saddles))


@dataclass(frozen=True, eq=False)
class IndicationView:
    """All that a descriptor may read of one indication.

    Parameters
    ----------
    specular, scatter : Profile
        On the same window.
    end_distance_mm : float
        From the extent to the nearer end of the seam.
    neighbour_gaps_mm : tuple of float
        Gaps to the other indications of the seam.
    thickness_a_mm, thickness_b_mm : float
        NaN when unknown.
    """

    specular: Profile
    scatter: Profile
    end_distance_mm: float
    neighbour_gaps_mm: tuple[float, ...]
    thickness_a_mm: float
    thickness_b_mm: float

    def profile(self, channel: Channel) -> Profile:
        """The profile of one channel."""
        return self.specular if channel is Channel.SPECULAR else self.scatter

    @property
    def beam_mm(self) -> float:
        """Beam width."""
        return self.specular.beam_mm

    @cached_property
    def overlaid(self) -> tuple[float, float]:
        """Best lag of `scatter` behind `specular` in mm, and the normalised correlation there.

        Zero padding outside the window; lags up to the window's length; 0 and 0 when
        either profile is flat zero.
        """
        s, c = self.specular.excursion_pct, self.scatter.excursion_pct
        norm = float(np.sqrt((s @ s) * (c @ c)))
        if norm <= 0.0:
            return 0.0, 0.0
        products = np.correlate(c, s, mode="full")
        peak = float(products.max())
        # Equal up to rounding; the peak is negative where the two never rise together.
        best = np.flatnonzero(products >= peak - 1e-12 * abs(peak))
        lags = best - (len(s) - 1)
        lag = int(lags[np.argmin(np.abs(lags))])
        return lag * self.specular.pitch_mm, peak / norm


def _local_maxima(values: NDArray[np.float64]) -> list[int]:
    """Samples higher than their surroundings; the middle of a flat top; the ends do not count."""
    change = np.flatnonzero(np.diff(values))
    if len(change) < 2:
        return []
    rising = np.diff(values)[change] > 0
    tops = np.flatnonzero(rising[:-1] & ~rising[1:])
    return [int((change[t] + 1 + change[t + 1]) // 2) for t in tops]
