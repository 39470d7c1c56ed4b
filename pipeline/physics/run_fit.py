"""One run of the reference blank against the theory: gain of each channel, aperture, place.

Least squares on recorded minus expected amplitude around each machined flaw. The gains
are linear and drop out in closed form (variable projection: G. Golub and V. Pereyra,
SIAM J. Numer. Anal. 10 (1973), from memory); aperture and offset are searched for.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from math import log, log10

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from seamtell.features.contracts import Channel, SeamTrace
from seamtell.pipeline.physics.blank_file import Blank, MachinedFlaw
from seamtell.pipeline.physics.blank_theory import BlankTheory

__all__ = ["RunFit", "fit_run"]

_AROUND_MM = 14.0
"""Window beyond each end of a flaw: where its echo fades into the sound seam's."""
_PEAK_MM = 8.0
_OFFSET_STEP_MM = 0.4
_FLOOR_PCT = 0.01
_MOST_STEPS = 60
"""A run of the right blank needs about eight."""

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class RunFit:
    """What one run says.

    Parameters
    ----------
    gain_db : mapping of Channel to float
        Recorded over expected.
    offset_mm : float
        Recorded minus true position.
    reversed : bool
        The blank ran through the other way.
    flaw_error_db : tuple of mapping of Channel to float
        Recorded over fitted peak of each flaw of the blank.
    misfit : float
        Norm of what is left over the norm of what was recorded.
    settled : bool
        The search ended inside the table of apertures, not at its end.
    """

    seam_id: str
    welded_at: datetime
    aperture_sd_mm: float
    gain_db: Mapping[Channel, float]
    offset_mm: float
    reversed: bool
    flaw_error_db: tuple[Mapping[Channel, float], ...]
    misfit: float
    settled: bool


@dataclass(frozen=True, eq=False)
class _Windows:
    """Recorded samples around the flaws that count, positions as the blank's own."""

    theory: BlankTheory
    positions_mm: Floats
    recorded: Mapping[Channel, Floats]

    def expected(self, aperture_sd_mm: float, offset_mm: float) -> dict[Channel, Floats]:
        at = self.positions_mm - offset_mm
        return {c: self.theory.amplitude_pct(c, aperture_sd_mm, at) for c in Channel}

    def left_over(self, parameters: Floats) -> Floats:
        expected = self.expected(float(np.exp(parameters[0])), float(parameters[1]))
        parts = [self.recorded[c] - _gain(self.recorded[c], expected[c]) * expected[c] for c in Channel]
        return np.concatenate(parts)


def fit_run(trace: SeamTrace, blank: Blank, theory: BlankTheory, counted: Sequence[MachinedFlaw]) -> RunFit:
    """Fit one run; `counted` are the flaws whose surroundings count, errors are stated for all.

    Both ways of travel are tried and the better one is kept.
    """
    found = [_fit_one_way(trace, blank, theory, counted, turned) for turned in (False, True)]
    return min(found, key=lambda one: one.misfit)


def _fit_one_way(
    trace: SeamTrace, blank: Blank, theory: BlankTheory, counted: Sequence[MachinedFlaw], turned: bool
) -> RunFit:
    positions = trace.positions_mm()
    if turned:
        positions = blank.length_mm - positions
    recorded = {c: np.asarray(trace.amplitudes_pct[c.value], dtype=np.float64) for c in Channel}
    near = _near(positions, counted, _AROUND_MM + blank.tolerance_mm)
    windows = _Windows(theory, positions[near], {c: values[near] for c, values in recorded.items()})
    low, high = log(theory.apertures_mm[0]), log(theory.apertures_mm[-1])
    bounds = ([low, -blank.tolerance_mm], [high, blank.tolerance_mm])
    start = _start(windows, low, high, blank.tolerance_mm)
    solved = least_squares(windows.left_over, start, bounds=bounds, max_nfev=_MOST_STEPS)
    aperture, offset = float(np.exp(solved.x[0])), float(solved.x[1])
    expected = windows.expected(aperture, offset)
    gains = {c: _gain(windows.recorded[c], expected[c]) for c in Channel}
    whole = np.concatenate([windows.recorded[c] for c in Channel])
    at = positions - offset
    fitted = {c: gains[c] * theory.amplitude_pct(c, aperture, at) for c in Channel}
    errors = tuple(_peak_error_db(flaw, at, recorded, fitted) for flaw in blank.flaws)
    return RunFit(
        trace.seam_id,
        trace.welded_at,
        aperture,
        {c: 20 * log10(max(gain, 1e-6)) for c, gain in gains.items()},
        offset,
        turned,
        errors,
        float(np.linalg.norm(solved.fun)) / max(float(np.linalg.norm(whole)), _FLOOR_PCT),
        bool(solved.success) and low + 1e-3 < solved.x[0] < high - 1e-3,
    )


def _start(windows: _Windows, low: float, high: float, tolerance_mm: float) -> Floats:
    """Best of a coarse grid: the misfit has a valley for each way to lay peaks on peaks."""
    offsets = np.arange(-tolerance_mm, tolerance_mm + 1e-9, _OFFSET_STEP_MM)
    apertures = low + (high - low) * np.array([0.25, 0.5, 0.75])
    grid = [np.array([a, o]) for a in apertures for o in offsets]
    return min(grid, key=lambda point: float(np.sum(windows.left_over(point) ** 2)))


def _gain(recorded: Floats, expected: Floats) -> float:
    return float(recorded @ expected / (expected @ expected))


def _near(positions: Floats, flaws: Sequence[MachinedFlaw], reach_mm: float) -> NDArray[np.bool_]:
    near = np.zeros(len(positions), dtype=bool)
    for flaw in flaws:
        first, last = flaw.geometry.extent_mm
        near |= (positions >= first - reach_mm) & (positions <= last + reach_mm)
    return near


def _peak_error_db(
    flaw: MachinedFlaw,
    positions: Floats,
    recorded: Mapping[Channel, Floats],
    fitted: Mapping[Channel, Floats],
) -> dict[Channel, float]:
    near = _near(positions, [flaw], _PEAK_MM)
    return {c: 20 * log10(_peak_pct(recorded[c][near]) / _peak_pct(fitted[c][near])) for c in Channel}


def _peak_pct(amplitudes_pct: Floats) -> float:
    return max(float(amplitudes_pct.max()), _FLOOR_PCT)
