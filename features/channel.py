"""What the later steps read of each channel: amplitude, baseline, noise and excursion."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seamtell.features.baseline import baseline_curve
from seamtell.features.contracts import CHANNELS, Channel, SeamTrace
from seamtell.features.errors import SeamtellError
from seamtell.features.noise import noise_floor_pct, noise_pct
from seamtell.features.rounding import grid_pct, on_grid
from seamtell.features.smoothing import despiked_pct

__all__ = ["ChannelSignal", "channel_order", "read_channels"]


@dataclass(frozen=True, eq=False)
class ChannelSignal:
    """One channel of one seam, ready for segmentation.

    Parameters
    ----------
    amplitude_pct, baseline_pct : ndarray of shape (n,)
        % FSH.
    level_pct : float
        Level of the baseline as a whole, % FSH.
    noise_pct : float
        Standard deviation of single samples.
    excursion_sigma : ndarray of shape (n,)
        Despiked and smoothed amplitude over the baseline, in units of its own noise.
    """

    amplitude_pct: NDArray[np.float64]
    baseline_pct: NDArray[np.float64]
    level_pct: float
    noise_pct: float
    excursion_sigma: NDArray[np.float64]


def channel_order(trace: SeamTrace) -> tuple[str, ...]:
    """Channels of a trace, the two well-known ones first, further ones by name."""
    return CHANNELS + tuple(sorted(set(trace.amplitudes_pct) - set(CHANNELS)))


def read_channels(trace: SeamTrace, beam_width_mm: float) -> dict[str, ChannelSignal]:
    """Baseline, noise and excursion of every channel.

    Parameters
    ----------
    trace : SeamTrace
    beam_width_mm : float

    Returns
    -------
    dict of str to ChannelSignal
        In `channel_order`.

    Raises
    ------
    SeamtellError
        When a channel is missing, empty, of another length or not finite.
    """
    amplitudes = {name: _amplitude(trace, name) for name in channel_order(trace)}
    curves = {name: baseline_curve(values, trace.pitch_mm) for name, values in amplitudes.items()}
    floor_pct = noise_floor_pct(curves[Channel.SPECULAR].level_pct)
    signals = {}
    for name, amplitude in amplitudes.items():
        quiet = despiked_pct(amplitude, trace.pitch_mm, beam_width_mm)
        baseline, grid = curves[name].samples_pct(trace.n_samples), grid_pct(amplitude)
        sigma = noise_pct(quiet, baseline, floor_pct, grid)
        signals[name] = ChannelSignal(
            amplitude_pct=amplitude,
            baseline_pct=baseline,
            level_pct=curves[name].level_pct,
            noise_pct=noise_pct(amplitude, baseline, floor_pct, grid),
            excursion_sigma=on_grid(quiet - baseline, grid) / sigma,
        )
    return signals


def _amplitude(trace: SeamTrace, name: str) -> NDArray[np.float64]:
    if name not in trace.amplitudes_pct:
        raise SeamtellError(
            f"no channel {name!r}, got {sorted(trace.amplitudes_pct)}",
            where=f"seam {trace.seam_id}",
            do=f"ingest traces with the channels {' and '.join(CHANNELS)}",
        )
    amplitude = np.asarray(trace.amplitudes_pct[name], dtype=np.float64)
    if amplitude.shape != (trace.n_samples,) or trace.n_samples == 0:
        raise SeamtellError(
            f"channel {name!r} has shape {amplitude.shape}, expected ({trace.n_samples},) with at least one",
            where=f"seam {trace.seam_id}",
            do="ingest the seam again",
        )
    if not np.isfinite(amplitude).all():
        raise SeamtellError(
            f"channel {name!r} holds values that are not finite",
            where=f"seam {trace.seam_id}",
            do="ingest the seam again; the limit rule rejects it as it is",
        )
    return amplitude
