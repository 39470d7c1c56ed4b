"""The model against seams of an independent full-wave simulation, case by case.

The simulation (three-dimensional elasticity, no reflection coefficients in it) stands in
for an experiment. Each case is scanned with the same flaws, burst and gate.

The reference grid has an error of its own on the sound seam, about what halving its
cells changes: the echo is 2.4 % too large and comes from 0.05 mm farther. It can
be given to the model's sound seam as well, beside the comparison without; that is done
here and nowhere else. Complex values at the centre frequency are compared after one common phase
of each channel has been removed, as the simulation counts its time from elsewhere.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import log10, nan

import numpy as np
from scipy.signal import find_peaks

from seamtell.data_synth.arrays import Complex, Floats
from seamtell.data_synth.head import Head
from seamtell.data_synth.line_scan import BURST_FREQUENCIES, unscaled_echoes
from seamtell.data_synth.scattering.beam import free_edge_echo
from seamtell.data_synth.scattering.burst import burst_frequencies_mhz, burst_reading, free_edge_envelope
from seamtell.data_synth.scattering.sound_seam import sound_echo
from seamtell.data_synth.yardstick_cases import FullWaveCase
from seamtell.features.contracts import Channel

__all__ = [
    "CaseErrors",
    "ModelScan",
    "ScanShape",
    "compare",
    "half_width_mm",
    "model_scan",
    "model_scan_both_ways",
    "scan_shape",
]

_GRID_GAIN, _GRID_SHIFT_MM = 1.024, 0.05
_SILENT_PCT = 0.01
_Echoes = Mapping[Channel, Complex]


@dataclass(frozen=True, eq=False)
class ModelScan:
    """What the model says of a case, % of the free edge: burst through its gate, and centre frequency."""

    amplitude_pct: Mapping[Channel, Floats]
    centre_pct: Mapping[Channel, Complex]


@dataclass(frozen=True)
class ScanShape:
    """What a channel of a scan looks like.

    Parameters
    ----------
    peak_pct, rise_pct : float
        Highest value, and how far it stands above the level at the scan's ends.
    width_mm : float
        Distance between the outermost samples above half of the rise.
    humps : int
        Maxima that stand out from their surroundings by a fifth of the rise or more.
    asymmetry_db : float
        Rise on the far side of the flaws' middle over the rise on the near side; NaN for one hump.
    """

    peak_pct: float
    rise_pct: float
    width_mm: float
    humps: int
    asymmetry_db: float


@dataclass(frozen=True)
class CaseErrors:
    """Model against simulation, for one channel of one case; NaN where there is nothing to compare.

    Parameters
    ----------
    simulated, model : ScanShape
    complex_error_pct : float
        Root mean square of the complex difference over that of the simulation, one phase removed.
    """

    name: str
    channel: Channel
    simulated: ScanShape
    model: ScanShape
    flawed: bool
    complex_error_pct: float

    @property
    def peak_error_db(self) -> float:
        """Highest value of the model over the simulation's."""
        return _ratio_db(self.model.peak_pct, self.simulated.peak_pct)

    @property
    def rise_error_db(self) -> float:
        """The same above the level at the ends."""
        return _ratio_db(self.model.rise_pct, self.simulated.rise_pct) if self.flawed else nan

    @property
    def width_error_pct(self) -> float:
        """Width of the model against the simulation's."""
        return 100 * (self.model.width_mm / self.simulated.width_mm - 1) if self.flawed else nan


def _ratio_db(ours: float, theirs: float) -> float:
    return 20 * log10(ours / theirs) if ours > _SILENT_PCT else nan


def model_scan(case: FullWaveCase, head: Head) -> ModelScan:
    """Scan a case with the model: the burst through its gate, and the centre frequency."""
    return _read(head, *_spectrum(case, head))


def model_scan_both_ways(case: FullWaveCase, head: Head) -> tuple[ModelScan, ModelScan]:
    """Scan a case as the model is, and with the reference grid's own error given to its sound seam."""
    spectrum, centre = _spectrum(case, head)
    tuned = _tuned(head)
    shifted = [_with_grid_error(case, each, echoes) for each, echoes in zip(tuned, spectrum, strict=True)]
    return _read(head, spectrum, centre), _read(head, shifted, _with_grid_error(case, head, centre))


def _tuned(head: Head) -> list[Head]:
    return [head.at_frequency(float(f)) for f in burst_frequencies_mhz(head, BURST_FREQUENCIES)]


def _spectrum(case: FullWaveCase, head: Head) -> tuple[list[_Echoes], _Echoes]:
    """Echoes at each frequency of the burst, and at its centre."""
    *spectrum, centre = (
        unscaled_echoes(case.flaws, case.joint, each, case.positions_mm) for each in (*_tuned(head), head)
    )
    return spectrum, centre


def _with_grid_error(case: FullWaveCase, head: Head, echoes: _Echoes) -> _Echoes:
    turn = _GRID_GAIN * np.exp(-2j * head.wavenumber_per_mm() * _GRID_SHIFT_MM)
    return {
        channel: echoes[channel] + sound_echo(case.joint, head, channel) * (turn - 1) for channel in Channel
    }


def _read(head: Head, spectrum: Sequence[_Echoes], centre: _Echoes) -> ModelScan:
    whole = free_edge_envelope(head, BURST_FREQUENCIES)
    amplitudes = {}
    for channel in Channel:
        reading = burst_reading(head, channel, BURST_FREQUENCIES)
        signal = reading.largest(np.stack([echoes[channel] for echoes in spectrum]))
        amplitudes[channel] = np.abs(signal) * (100 / whole)
    scale = 100 / abs(free_edge_echo(head))
    return ModelScan(amplitudes, {channel: echo * scale for channel, echo in centre.items()})


def compare(case: FullWaveCase, scan: ModelScan) -> tuple[CaseErrors, ...]:
    """Compare both channels of a case with what the model says."""
    found = []
    for channel in Channel:
        theirs, ours = (
            scan_shape(case.positions_mm, amplitude[channel], case.middle_mm)
            for amplitude in (case.amplitude_pct, scan.amplitude_pct)
        )
        error = nan
        if case.centre_pct is not None:
            error = _complex_error_pct(case.centre_pct[channel], scan.centre_pct[channel])
        found.append(CaseErrors(case.name, channel, theirs, ours, bool(case.flaws), error))
    return tuple(found)


def _complex_error_pct(theirs: Complex, ours: Complex) -> float:
    together = np.vdot(ours, theirs)
    if abs(together) == 0:
        return nan
    return float(100 * np.linalg.norm(theirs - ours * together / abs(together)) / np.linalg.norm(theirs))


def scan_shape(positions_mm: Floats, amplitude_pct: Floats, middle_mm: float) -> ScanShape:
    """Describe one channel of a scan."""
    above = amplitude_pct - _level(amplitude_pct)
    rise = float(above.max())
    # Two maxima of exactly one height would each count as standing out in full: tell them apart.
    untied = above * (1 + 1e-9 * np.arange(len(above)))
    humps = len(find_peaks(untied, prominence=max(rise / 5, _SILENT_PCT))[0])
    far, near = above[positions_mm > middle_mm].max(), above[positions_mm < middle_mm].max()
    asymmetry = float(20 * np.log10(far / near)) if humps > 1 and min(far, near) > 0 else nan
    width = half_width_mm(positions_mm, amplitude_pct)
    return ScanShape(float(amplitude_pct.max()), rise, width, humps, asymmetry)


def _level(amplitude_pct: Floats) -> float:
    return float(np.median(np.concatenate([amplitude_pct[:4], amplitude_pct[-4:]])))


def half_width_mm(positions_mm: Floats, amplitude_pct: Floats) -> float:
    """Distance between the outermost samples above half of the greatest rise over the ends' level.

    Examples
    --------
    >>> x = np.linspace(-10, 10, 2001)
    >>> abs(half_width_mm(x, np.exp(-(x**2) / 2)) - 2.3548) < 0.02  # FWHM of a Gaussian
    True
    """
    rise = amplitude_pct - _level(amplitude_pct)
    wide = positions_mm[rise >= rise.max() / 2]
    return float(wide[-1] - wide[0])
