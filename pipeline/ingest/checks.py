"""From a raw seam to a `SeamTrace`: every check of the values, in order, one reason code each.

Rules that are not obvious:

- The pitch counts as regular when no position is off the even grid by more
  than 5 % of the pitch (rounded positions are that far off).
- It is mildly irregular when no step is longer than four median steps (encoder
  jitter, a few dropped samples): the seam is then resampled onto an even grid
  of the mean step, or of the median step when a step is longer than 1.5 of them
  (samples were dropped). Each grid point takes the linear interpolation or the
  largest recorded sample within half a step, whichever is higher, so that
  resampling never lowers a peak below its limit.
- An amplitude up to 0.5 % above full screen is kept as saturated, and one up to
  0.01 % below zero becomes zero: both are rounding.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from seamtell.features.contracts import CHANNELS, SeamTrace
from seamtell.pipeline.ingest.metadata import read_metadata
from seamtell.pipeline.ingest.profile import AmplitudeUnit, Profile
from seamtell.pipeline.ingest.raw_seam import RawSeam
from seamtell.pipeline.ingest.reasons import InputRejected, Note, NoteCode, ReasonCode
from seamtell.pipeline.limits_file import Limits

__all__ = ["MIN_SAMPLES", "even_grid", "to_trace"]

MIN_SAMPLES = 8
REGULAR_SHARE = 0.05
DROPPED_STEP = 1.5
LONGEST_STEP = 4.0
ABOVE_FULL_SCALE_PCT = 100.5
BELOW_ZERO_PCT = -0.01
_GRID_DECIMALS = 6
"""Start and pitch are kept to 1 nm, so that the same seam in two formats has the same content."""


def to_trace(raw: RawSeam, profile: Profile, limits: Limits) -> tuple[SeamTrace, tuple[Note, ...]]:
    """Check one seam and put it into the units of the contract.

    Raises
    ------
    InputRejected
        At the first check that fails.
    """
    facts = read_metadata(raw.metadata, raw.extra, profile)
    n = len(next(iter(raw.channels.values())))
    if n == 0:
        raise InputRejected(ReasonCode.EMPTY, "no samples")
    if facts.n_samples is not None and n < facts.n_samples:
        raise InputRejected(ReasonCode.TRUNCATED, f"{n} samples, the header announces {facts.n_samples}")
    if n < MIN_SAMPLES:
        raise InputRejected(ReasonCode.TOO_FEW_SAMPLES, f"{n} samples, at least {MIN_SAMPLES} are needed")
    if limits.get(facts.recipe) is None:
        raise InputRejected(
            ReasonCode.UNKNOWN_RECIPE, f"recipe '{facts.recipe}' has no limits in {limits.path.name}"
        )
    notes = list(raw.notes)
    amplitudes = {name: _amplitude_pct(raw, name, profile, notes) for name in raw.channels}
    start_mm, pitch_mm, even = _on_grid(raw, profile, amplitudes, notes)
    notes.extend(_oddities(even, profile))
    trace = SeamTrace(
        seam_id=facts.seam_id,
        welded_at=facts.welded_at,
        line=facts.line,
        recipe=facts.recipe,
        start_mm=round(start_mm, _GRID_DECIMALS) + 0.0,
        pitch_mm=round(pitch_mm, _GRID_DECIMALS),
        amplitudes_pct={name: values.astype(np.float32) for name, values in even.items()},
        coil=facts.coil,
        shift=facts.shift,
        thickness_a_mm=facts.thickness_a_mm,
        thickness_b_mm=facts.thickness_b_mm,
        speed_m_per_min=facts.speed_m_per_min,
        extra=dict(facts.extra),
    )
    return trace, tuple(notes)


def _amplitude_pct(raw: RawSeam, name: str, profile: Profile, notes: list[Note]) -> NDArray[np.float64]:
    values = raw.channels[name]
    _check_finite(values, f"channel '{name}'", raw)
    with np.errstate(over="ignore"):
        if profile.amplitude.unit is AmplitudeUnit.FRACTION:
            values = values * 100.0
        elif profile.amplitude.unit is AmplitudeUnit.DECIBEL:
            values = profile.amplitude.zero_db_pct * 10.0 ** (values / 20.0)
    lowest, highest = int(np.argmin(values)), int(np.argmax(values))
    if values[lowest] < BELOW_ZERO_PCT:
        raise InputRejected(
            ReasonCode.NEGATIVE_AMPLITUDE,
            f"channel '{name}': {values[lowest]:.4g} % FSH is below zero",
            row=raw.row_of(lowest),
        )
    if values[highest] > ABOVE_FULL_SCALE_PCT:
        raise InputRejected(
            ReasonCode.ABOVE_FULL_SCALE,
            f"channel '{name}': {values[highest]:.4g} % FSH is above full screen",
            row=raw.row_of(highest),
        )
    if values[lowest] < 0:
        notes.append(Note(NoteCode.ROUNDED_TO_ZERO, f"channel '{name}': {values[lowest]:.4g} % became 0"))
        values = np.maximum(values, 0.0)
    if values[highest] >= 100.0:
        clipped = int(np.count_nonzero(values >= 100.0))
        notes.append(Note(NoteCode.SATURATED, f"channel '{name}': {clipped} samples at full screen"))
    return values


def _check_finite(values: NDArray[np.float64], what: str, raw: RawSeam) -> None:
    finite = np.isfinite(values)
    if not finite.all():
        sample = int(np.argmin(finite))
        raise InputRejected(
            ReasonCode.NOT_FINITE,
            f"{what}: sample {sample + 1} is empty or not a finite number",
            row=raw.row_of(sample),
        )


def _on_grid(
    raw: RawSeam, profile: Profile, amplitudes: Mapping[str, NDArray[np.float64]], notes: list[Note]
) -> tuple[float, float, Mapping[str, NDArray[np.float64]]]:
    if raw.positions is None:
        return float(raw.start_mm or 0.0), float(raw.pitch_mm or 0.0), amplitudes
    _check_finite(raw.positions, "position", raw)
    per_mm = profile.position.counts_per_mm
    positions = raw.positions / per_mm if per_mm is not None else raw.positions * profile.position.unit.mm
    steps = np.diff(positions)
    if (steps < 0).all():
        notes.append(Note(NoteCode.TURNED_ROUND, "positions fall: recorded in reverse travel, turned round"))
        positions = positions[::-1]
        amplitudes = {name: values[::-1] for name, values in amplitudes.items()}
    elif (steps <= 0).any():
        sample = int(np.argmax(steps <= 0)) + 1
        code = ReasonCode.DUPLICATE_POSITION if steps[sample - 1] == 0 else ReasonCode.NON_MONOTONE_POSITION
        raise InputRejected(
            code,
            f"position {positions[sample]:g} mm follows {positions[sample - 1]:g} mm",
            row=raw.row_of(sample),
        )
    start_mm, pitch_mm, longest = even_grid(positions)
    if longest > LONGEST_STEP:
        sample = int(np.argmax(np.diff(positions))) + 1
        raise InputRejected(
            ReasonCode.IRREGULAR_PITCH,
            f"a gap of {longest:.1f} median steps before position {positions[sample]:g} mm",
            row=raw.row_of(sample),
        )
    if longest == 0.0:
        return start_mm, pitch_mm, amplitudes
    notes.append(
        Note(NoteCode.RESAMPLED, f"longest step {longest:.2f} median steps, resampled to {pitch_mm:g} mm")
    )
    grid = np.arange(int((positions[-1] - start_mm) / pitch_mm + 0.5) + 1)
    return (
        start_mm,
        pitch_mm,
        {
            name: _resample((positions - start_mm) / pitch_mm, values, grid)
            for name, values in amplitudes.items()
        },
    )


def even_grid(positions: NDArray[np.float64]) -> tuple[float, float, float]:
    """Fit an even grid to rising positions.

    Parameters
    ----------
    positions : float64 array of shape (n,)
        Strictly rising, mm.

    Returns
    -------
    start_mm, pitch_mm : float
    longest : float
        0 when the positions are even; else the longest step in median steps.
    """
    n = len(positions)
    pitch = float(positions[-1] - positions[0]) / (n - 1)
    off = np.abs(positions - (positions[0] + pitch * np.arange(n)))
    if float(off.max()) <= REGULAR_SHARE * pitch:
        return float(positions[0]), pitch, 0.0
    steps = np.diff(positions)
    median = round(float(np.median(steps)), _GRID_DECIMALS)
    if median <= 0:
        return float(positions[0]), pitch, np.inf
    longest = float(steps.max()) / median
    return float(positions[0]), pitch if longest <= DROPPED_STEP else median, longest


def _resample(
    at: NDArray[np.float64], values: NDArray[np.float64], grid: NDArray[np.int64]
) -> NDArray[np.float64]:
    """Values on whole grid steps; `at` are the recorded positions in steps."""
    even = np.interp(grid, at, values)
    nearest = np.clip(np.rint(at).astype(np.int64), 0, len(grid) - 1)
    np.maximum.at(even, nearest, values)
    return even


def _oddities(amplitudes: Mapping[str, NDArray[np.float64]], profile: Profile) -> list[Note]:
    """What looks odd but may be true."""
    notes = []
    specular, scatter = (amplitudes[name] for name in CHANNELS)
    level, other = float(np.median(specular)), float(np.median(scatter))
    if profile.amplitude.unit is AmplitudeUnit.PERCENT and max(specular.max(), scatter.max()) <= 1.0:
        notes.append(
            Note(
                NoteCode.LOOKS_LIKE_FRACTION,
                f"no sample above 1 % FSH (median {level:.3g} %): is the amplitude a fraction?",
            )
        )
    if other > level:
        notes.append(
            Note(
                NoteCode.CHANNELS_LOOK_SWAPPED,
                f"median scatter {other:.3g} % above median specular {level:.3g} %: "
                "are the channels swapped?",
            )
        )
    return notes
