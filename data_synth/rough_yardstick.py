"""A rough joint of the full-wave simulation against random joints of the same roughness.

The simulation states rms and correlation length of its joint, not its heights, so the
two cannot be laid over each other. What can be compared is how much each channel
ripples: the one simulated joint should lie among the model's random ones. What is meant
by correlation length is not stated either; both common meanings are tried.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from seamtell.data_synth.arrays import Floats
from seamtell.data_synth.flaws import RoughJoint
from seamtell.data_synth.head import Head
from seamtell.data_synth.line_scan import line_scan
from seamtell.data_synth.yardstick_cases import FullWaveCase, Roughness
from seamtell.features.contracts import Channel

__all__ = ["RoughComparison", "compare_rough"]

_MEANINGS = {"autocorrelation exp(-(lag/c)²)": 1.0, "white noise smoothed by a Gaussian of sd c": 2.0}
"""Each meaning of a correlation length c, and the length at which its autocorrelation is 1/e, over c."""
_DRAWS = 60
_SPACING_MM = 0.25
_MARGIN_MM = 30.0


@dataclass(frozen=True)
class RoughComparison:
    """Ripple of one channel, rms in % FSH: simulated, and of the model's random joints (90 % range)."""

    name: str
    channel: Channel
    meaning: str
    simulated_pct: float
    median_pct: float
    low_pct: float
    high_pct: float
    n_draws: int


def compare_rough(case: FullWaveCase, roughness: Roughness, head: Head) -> tuple[RoughComparison, ...]:
    """Compare the ripple of both channels; specular about its mean, scatter about zero."""
    found = []
    for meaning, stretch in _MEANINGS.items():
        ripples = _random_ripples(case, roughness.rms_mm, stretch * roughness.correlation_mm, head)
        for channel in Channel:
            low, middle, high = (float(q) for q in np.percentile(ripples[channel], [5, 50, 95]))
            simulated = _ripple(case.amplitude_pct[channel], channel)
            found.append(RoughComparison(case.name, channel, meaning, simulated, middle, low, high, _DRAWS))
    return tuple(found)


def _random_ripples(
    case: FullWaveCase, rms_mm: float, correlation_mm: float, head: Head
) -> dict[Channel, list[float]]:
    rng = np.random.default_rng(0)
    start = case.positions_mm[0] - _MARGIN_MM
    n = int((case.positions_mm[-1] + _MARGIN_MM - start) / _SPACING_MM)
    at = start + _SPACING_MM * np.arange(n)
    seen = (at >= case.positions_mm[0]) & (at <= case.positions_mm[-1])
    ripples: dict[Channel, list[float]] = {channel: [] for channel in Channel}
    for _ in range(_DRAWS):
        heights = rms_mm * _gaussian_heights(n, correlation_mm / _SPACING_MM, rng)
        joint = RoughJoint(start, _SPACING_MM, tuple(heights), 2 * case.joint.ramp_mm)
        scan = line_scan([joint], case.joint, head, at)
        for channel in Channel:
            ripples[channel].append(_ripple(scan.amplitude_pct(channel)[seen], channel))
    return ripples


def _ripple(amplitude_pct: Floats, channel: Channel) -> float:
    level = amplitude_pct.mean() if channel is Channel.SPECULAR else 0.0
    return float(np.sqrt(np.mean((amplitude_pct - level) ** 2)))


def _gaussian_heights(n: int, correlation_samples: float, rng: np.random.Generator) -> Floats:
    """Random heights of unit rms whose correlation falls as exp(-(lag / correlation)²), shape (n,)."""
    reach = int(4 * correlation_samples)
    lags = np.arange(-reach, reach + 1)
    kernel = np.exp(-2 * (lags / correlation_samples) ** 2)
    white = rng.standard_normal(n + 2 * reach)
    return np.convolve(white, kernel / np.linalg.norm(kernel), mode="valid")
