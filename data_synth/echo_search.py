"""Which flaws of the table fit an indication: every flaw, every position, both travel directions.

The recorder keeps magnitudes only. A flaw's echo e adds as a complex number to the sound
seam's s, so the trace that a flaw would leave is, on each channel,

    A(x) = sqrt(|g (s + e(x - x0))|² + b²),

g the channel's gain, b what the channel idles at without an echo (scatter: roughness and
noise; on specular the sound seam is the level and b is 0). The misfit is the root mean
square of (measured - A) / sigma over both channels, about 1 for a perfect model, with

    sigma² = noise² + (5 % of the measured amplitude)² + (2 % of its highest value)².

The second term is what the theory owes: its median error on full-wave flaws is 2 % and its
worst about 12 % of the peak. The third keeps the deep cusps, where echoes cancel, from
deciding alone. Both follow the measured trace and not the model, so that no candidate
excuses itself by being large; and the search becomes a correlation, done by FFT.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, next_fast_len, rfft

from seamtell.data_synth.arrays import Complex, Floats
from seamtell.data_synth.echo_library import GRID_MM, EchoLibrary
from seamtell.data_synth.expected_flaws import GainBump

__all__ = [
    "MODEL_ERROR_SHARE",
    "PEAK_ERROR_SHARE",
    "EchoWindow",
    "Found",
    "Levels",
    "excess_pct",
    "misfits_of",
    "search",
]

MODEL_ERROR_SHARE = 0.05
PEAK_ERROR_SHARE = 0.02
_BATCH_SAMPLES = 400_000


@dataclass(frozen=True)
class Levels:
    """How theory and recorder compare on this seam.

    Parameters
    ----------
    specular_gain, scatter_gain : float
        % FSH for each % of the free edge.
    sound_pct : complex
        Echo of the sound seam on specular, % of the free edge.
    specular_idle_pct, scatter_idle_pct : float
        % FSH without any flaw: the two baselines.
    """

    specular_gain: float
    scatter_gain: float
    sound_pct: complex
    specular_idle_pct: float
    scatter_idle_pct: float


@dataclass(frozen=True, eq=False)
class EchoWindow:
    """What was measured around an indication, on the grid of the table.

    Parameters
    ----------
    positions_mm : float array of shape (m,)
        Spaced by `GRID_MM`.
    excess_pct : float array of shape (2, m)
        Amplitude over the baseline, specular and scatter, % FSH.
    sigma_pct : float array of shape (2, m)
        Weights of the fit; infinite where a sample must not count.
    centres_mm : (float, float)
        Where the middle of a flaw may lie.
    levels : Levels
    beam_width_mm : float
        Two-way width of the beam; samples closer than half of it err together.
    """

    positions_mm: Floats
    excess_pct: Floats
    sigma_pct: Floats
    centres_mm: tuple[float, float]
    levels: Levels
    beam_width_mm: float

    @classmethod
    def measured(
        cls,
        positions_mm: Floats,
        amplitude_pct: Floats,
        baseline_pct: Floats,
        noise_pct: Floats,
        centres_mm: tuple[float, float],
        levels: Levels,
        beam_width_mm: float,
        counts: NDArray[np.bool_] | None = None,
    ) -> EchoWindow:
        """Weigh what was measured.

        Parameters
        ----------
        amplitude_pct, baseline_pct : float array of shape (2, m)
        noise_pct : float array of shape (2,)
        counts : bool array of shape (m,), optional
            Which samples belong to this indication; default all.
        """
        # The highest of what counts: a neighbour must not widen the tolerance.
        counted = np.ones(len(positions_mm), bool) if counts is None else counts
        highest = amplitude_pct[:, counted].max(axis=1, keepdims=True)
        variance = (
            noise_pct[:, None] ** 2
            + (MODEL_ERROR_SHARE * amplitude_pct) ** 2
            + (PEAK_ERROR_SHARE * highest) ** 2
        )
        sigma = np.where(counted, np.sqrt(variance), np.inf)
        return cls(positions_mm, amplitude_pct - baseline_pct, sigma, centres_mm, levels, beam_width_mm)

    @property
    def n_counted(self) -> int:
        """Samples of both channels that count."""
        return int(np.isfinite(self.sigma_pct).sum())

    @property
    def extent_mm(self) -> float:
        """Length over which the middle of a flaw may lie: that of the indication."""
        return self.centres_mm[1] - self.centres_mm[0]

    @property
    def n_independent(self) -> float:
        """Figures that can err on their own: one for each half beam width on each channel."""
        return max(self.n_counted * GRID_MM / (self.beam_width_mm / 2), 1.0)

    def misfit(self, excess: tuple[Floats, Floats], centre_mm: float) -> float:
        """Misfit of one model whose middle lies at `centre_mm`, on the grid or between."""
        return float(np.sqrt(np.sum(self.residuals(excess, centre_mm) ** 2) / self.n_counted))

    def residuals(self, excess: tuple[Floats, Floats], centre_mm: float) -> Floats:
        """Model less measured over sigma, shape (2 m,); 0 where a sample does not count."""
        half = len(excess[0]) // 2
        at = centre_mm + GRID_MM * np.arange(-half, half + 1)
        model = np.stack([np.interp(self.positions_mm, at, one, 0.0, 0.0) for one in excess])
        return np.asarray(((model - self.excess_pct) / self.sigma_pct).ravel())

    def mirrored(self) -> EchoWindow:
        """The window as a head that travels the other way would record it."""
        first, last = self.positions_mm[0], self.positions_mm[-1]
        low, high = self.centres_mm
        return replace(
            self,
            excess_pct=self.excess_pct[:, ::-1],
            sigma_pct=self.sigma_pct[:, ::-1],
            centres_mm=(first + last - high, first + last - low),
        )


@dataclass(frozen=True, eq=False)
class Found:
    """Best place of every flaw of the table.

    Parameters
    ----------
    misfit : float array of shape (n,)
    centre_mm : float array of shape (n,)
        In the coordinates of the seam.
    mirrored : bool array of shape (n,)
        Whether it fits best as seen by a head that travels against the axis of the theory.
    """

    misfit: Floats
    centre_mm: Floats
    mirrored: NDArray[np.bool_]


def excess_pct(
    specular: Complex, scatter: Complex, levels: Levels, bump: GainBump | None = None
) -> tuple[Floats, Floats]:
    """What a flaw's echoes, or a gain change, add to the two baselines, % FSH.

    Parameters
    ----------
    specular, scatter : complex array of shape (n,)
        Echo of the flaw alone, % of the free edge; n odd, the flaw in the middle.
    """
    if bump is not None:
        half = len(specular) // 2
        rise = bump.factor(GRID_MM * np.arange(-half, half + 1)) - 1
        return levels.specular_idle_pct * rise, levels.scatter_idle_pct * rise
    beside = np.abs(levels.sound_pct)
    mirror = levels.specular_gain * (np.abs(levels.sound_pct + specular) - beside)
    idle = levels.scatter_idle_pct
    return mirror, np.sqrt((levels.scatter_gain * np.abs(scatter)) ** 2 + idle**2) - idle


def search(library: EchoLibrary, window: EchoWindow) -> Found:
    """Fit every flaw of the table at every allowed position, in both travel directions."""
    ways = (window, window.mirrored())
    models = _library_excess(library, window.levels)
    misfit, index = misfits_of(models, library.starts, ways)
    mirrored = misfit[1] < misfit[0]
    best = np.where(mirrored, misfit[1], misfit[0])
    at = [way.positions_mm[found] for way, found in zip(ways, index, strict=True)]
    first, last = window.positions_mm[0], window.positions_mm[-1]
    return Found(best, np.where(mirrored, first + last - at[1], at[0]), mirrored)


def _library_excess(library: EchoLibrary, levels: Levels) -> Floats:
    """Excess of all flaws on both channels, flat, shape (2, total)."""
    excess = np.stack(excess_pct(library.specular, library.scatter, levels))
    for i, one in enumerate(library.designed):
        bump = one.flaw.bump
        if bump is not None:
            part = slice(library.starts[i], library.starts[i + 1])
            excess[:, part] = excess_pct(library.specular[part], library.scatter[part], levels, bump)
    return excess


def misfits_of(
    models: Floats, starts: NDArray[np.int64], ways: tuple[EchoWindow, ...]
) -> tuple[Floats, NDArray[np.intp]]:
    """Least misfit of each model and the sample where its middle then lies, shapes (ways, n).

    Sum of w (y - D)² over the window is the constant sum of w y² less twice the correlation
    of w y with D plus that of w with D²; D is zero beyond its own length.
    """
    lengths = np.diff(starts)
    misfit = np.full((len(ways), len(lengths)), np.inf)
    index = np.zeros((len(ways), len(lengths)), dtype=np.intp)
    order = np.argsort(lengths, kind="stable")
    m = len(ways[0].positions_mm)
    place = 0
    while place < len(order):
        n_fft = next_fast_len(m + int(lengths[order[place]]) + 40, real=True)
        batch = order[place : place + max(1, _BATCH_SAMPLES // n_fft)]
        batch = batch[lengths[batch] + m <= n_fft]
        spectra = _spectra(models, starts, batch, n_fft)
        for w, way in enumerate(ways):
            misfit[w, batch], index[w, batch] = _best_places(spectra, way, lengths[batch], n_fft)
        place += len(batch)
    return misfit, index


def _spectra(
    models: Floats, starts: NDArray[np.int64], batch: NDArray[np.intp], n_fft: int
) -> tuple[Complex, Complex]:
    """Transforms of the models and of their squares, shape (2, batch, frequencies) each."""
    padded = np.zeros((2, len(batch), n_fft))
    for row, i in enumerate(batch):
        padded[:, row, : starts[i + 1] - starts[i]] = models[:, starts[i] : starts[i + 1]]
    return rfft(padded, axis=-1), rfft(padded**2, axis=-1)


def _best_places(
    spectra: tuple[Complex, Complex], way: EchoWindow, lengths: NDArray[np.int64], n_fft: int
) -> tuple[Floats, NDArray[np.intp]]:
    weight = way.sigma_pct**-2.0
    linear = np.conj(rfft(weight * way.excess_pct, n_fft, axis=-1))[:, None, :]
    square = np.conj(rfft(weight, n_fft, axis=-1))[:, None, :]
    gained = irfft((square * spectra[1] - 2 * linear * spectra[0]).sum(axis=0), n_fft, axis=-1)
    # Lag of a model whose middle lies on sample k: middle - k, counted round the circle.
    inside = (way.positions_mm >= way.centres_mm[0]) & (way.positions_mm <= way.centres_mm[1])
    places = np.flatnonzero(inside) if inside.any() else np.array([len(way.positions_mm) // 2])
    lags = (lengths[:, None] // 2 - places[None, :]) % n_fft
    chi2 = np.take_along_axis(gained, lags, axis=1) + np.sum(weight * way.excess_pct**2)
    best = np.argmin(chi2, axis=1)
    least = np.maximum(chi2[np.arange(len(best)), best], 0.0)
    return np.sqrt(least / way.n_counted), places[best]
