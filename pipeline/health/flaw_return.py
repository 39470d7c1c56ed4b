"""How the machined flaws of one run of the reference blank came back."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import IntEnum
from math import log10

import numpy as np
from numpy.typing import NDArray

from seamtell.features.contracts import Channel, SeamTrace
from seamtell.pipeline.health.expected import ExpectedBlank, ExpectedFlaw

__all__ = ["FlawReturn", "Level", "Tolerances", "judge", "laid_mm", "measure", "turned"]

_REACH_MM = 6.0
"""Beyond each end of a flaw: half a beam and the wander of a peak that splits in two."""
_MISSING_DB = 12.0
"""A quarter of the expected height is no echo of the flaw any more."""
_ABOVE_NOISE = 4.0
"""An echo stands this many noise units above the sound seam beside it."""
_MAD_TO_SD = 1.4826
_LEAST_PCT = 0.01
"""Stands for nothing at all, so that its decibels stay a number."""

Floats = NDArray[np.float64]


class Level(IntEnum):
    """What a check says, from mild to grave."""

    GOOD = 0
    WARN = 1
    STOP = 2

    @property
    def text(self) -> str:
        """The word for it."""
        return self.name.lower()


@dataclass(frozen=True)
class Tolerances:
    """From where a deviation warns, and from where it stops, in dB either way."""

    warn_db: float = 2.0
    stop_db: float = 4.0


@dataclass(frozen=True)
class FlawReturn:
    """What came back of one machined flaw.

    Parameters
    ----------
    name : str
    expected_mm, found_mm : float
        Middle of the flaw; NaN when it is missing.
    peak_pct, deviation_db : mapping of Channel to float
        Highest amplitude, and that over the expected one; empty where nothing is expected.
    missing : bool
        No echo where the flaw should be.
    """

    name: str
    expected_mm: float
    found_mm: float
    peak_pct: Mapping[Channel, float]
    deviation_db: Mapping[Channel, float]
    missing: bool

    @property
    def offset_mm(self) -> float:
        """Found minus expected position; NaN when missing."""
        return self.found_mm - self.expected_mm


def measure(trace: SeamTrace, blank: ExpectedBlank) -> tuple[FlawReturn, ...]:
    """Look for every machined flaw at its place.

    Parameters
    ----------
    trace : SeamTrace
        One run, from the start of the blank.
    """
    positions = trace.positions_mm() - trace.start_mm
    values = {c: np.asarray(trace.amplitudes_pct[c.value], dtype=np.float64) for c in Channel}
    sound = _sound(positions, blank)
    floor = {c: _floor_pct(values[c][sound]) for c in Channel}
    return tuple(_look(flaw, positions, values, floor, blank.tolerance_mm) for flaw in blank.flaws)


def laid_mm(flaws: Sequence[FlawReturn]) -> float:
    """How far beside its place the blank as a whole lies: the median offset; NaN when nothing is found."""
    found = [flaw.offset_mm for flaw in flaws if not flaw.missing]
    return float(np.median(found)) if found else float("nan")


def judge(flaw: FlawReturn, laid_mm: float, tolerance_mm: float, tolerances: Tolerances) -> Level:
    """Say how grave it is. Exactly at a tolerance is still within it.

    Parameters
    ----------
    laid_mm : float
        Offset of the blank as a whole. It must lie within `tolerance_mm`, and so must what the
        flaw is off beside it, which is the encoder's.

    Examples
    --------
    >>> one = FlawReturn("hole", 40.0, 40.4, {}, {Channel.SPECULAR: -2.5}, missing=False)
    >>> judge(one, 0.0, 2.0, Tolerances()).text
    'warn'
    """
    off_mm = max(abs(laid_mm), abs(flaw.offset_mm - laid_mm))
    worst_db = max((abs(value) for value in flaw.deviation_db.values()), default=0.0)
    # Whatever is not known to be within is not: NaN must stop.
    if flaw.missing or not worst_db <= tolerances.stop_db or not off_mm <= tolerance_mm:
        return Level.STOP
    return Level.GOOD if worst_db <= tolerances.warn_db else Level.WARN


def turned(trace: SeamTrace, blank: ExpectedBlank) -> bool:
    """Whether the run fits the blank clearly better when it is read from its other end."""
    mirrored = SeamTrace(
        trace.seam_id, trace.welded_at, trace.line, trace.recipe, 0.0, trace.pitch_mm,
        {name: values[::-1] for name, values in trace.amplitudes_pct.items()},
    )  # fmt: skip
    as_given, other_way = (_strangeness(measure(one, blank), blank) for one in (trace, mirrored))
    return other_way + 1.0 < as_given / 2


def _strangeness(flaws: tuple[FlawReturn, ...], blank: ExpectedBlank) -> float:
    """Sum over the flaws: decibels, and tolerances of offset; a missing flaw counts as far off in both."""
    total = 0.0
    for flaw in flaws:
        worst_db = max((abs(value) for value in flaw.deviation_db.values()), default=0.0)
        total += 2 * _MISSING_DB if flaw.missing else min(worst_db, _MISSING_DB)
        total += 0.0 if flaw.missing else abs(flaw.offset_mm) / blank.tolerance_mm
    return total


def _sound(positions: Floats, blank: ExpectedBlank) -> NDArray[np.bool_]:
    reach = 2 * _REACH_MM + blank.tolerance_mm
    sound = np.ones(len(positions), dtype=np.bool_)
    for flaw in blank.flaws:
        sound &= (positions < flaw.first_mm - reach) | (positions > flaw.last_mm + reach)
    return sound if sound.any() else np.ones(len(positions), dtype=np.bool_)


def _floor_pct(values: Floats) -> float:
    """What an echo has to rise above."""
    middle = float(np.median(values))
    return middle + _ABOVE_NOISE * _MAD_TO_SD * float(np.median(np.abs(values - middle)))


def _look(
    flaw: ExpectedFlaw,
    positions: Floats,
    values: Mapping[Channel, Floats],
    floor: Mapping[Channel, float],
    tolerance_mm: float,
) -> FlawReturn:
    reach = _REACH_MM + tolerance_mm
    near = (positions >= flaw.first_mm - reach) & (positions <= flaw.last_mm + reach)
    if not near.any():
        return FlawReturn(flaw.name, flaw.centre_mm, float("nan"), {}, {}, missing=True)
    peaks = {c: float(values[c][near].max()) for c in Channel}
    off_db = {c: _decibels(peaks[c], expected) for c, expected in flaw.expected_pct.items()}
    seen = [c for c in Channel if peaks[c] > floor[c]]
    missing = not seen or (bool(off_db) and max(off_db.values()) < -_MISSING_DB)
    # The echo of specular lies over the flaw; that of scatter may lie at its ends.
    by = Channel.SPECULAR if Channel.SPECULAR in seen or not seen else Channel.SCATTER
    found = float("nan") if missing else _middle_mm(positions[near], values[by][near], floor[by])
    return FlawReturn(flaw.name, flaw.centre_mm, found, peaks, off_db, missing)


def _decibels(peak_pct: float, expected_pct: float) -> float:
    return 20 * log10(max(peak_pct, _LEAST_PCT) / expected_pct)


def _middle_mm(positions: Floats, values: Floats, floor_pct: float) -> float:
    """Middle of the stretch around the peak that is above half its height over the sound seam."""
    peak = int(np.argmax(values))
    above = values > floor_pct + (values[peak] - floor_pct) / 2
    above[peak] = True
    before, after = np.flatnonzero(~above[:peak]), np.flatnonzero(~above[peak:])
    first = int(before[-1]) + 1 if len(before) else 0
    last = peak + int(after[0]) - 1 if len(after) else len(values) - 1
    return float(positions[first] + positions[last]) / 2
