"""From complex echoes to the trace that an instrument writes: nuisances applied in order.

Positions read by the encoder are regular; where the head really was is not. Echoes are
worked out at the true positions and written at the regular ones.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import cos, pi

import numpy as np
from numpy.typing import NDArray
from scipy.special import erf

from seamtell.data_synth.arrays import Complex, Floats
from seamtell.data_synth.flaws import FlawGeometry, RoughJoint
from seamtell.data_synth.head import Head, Joint
from seamtell.data_synth.line_scan import flaw_echo_pct, line_scan
from seamtell.data_synth.nuisance_kinds import NuisanceSet, RunInOut
from seamtell.data_synth.smooth_random import smooth_random
from seamtell.features.contracts import Channel

__all__ = ["Bounce", "Stretch", "attenuated_db", "coupling_factor", "record"]


@dataclass(frozen=True)
class Bounce:
    """The head comes `closer_mm` to the sheet around `x_mm`; negative when it lifts."""

    x_mm: float
    length_mm: float
    closer_mm: float


@dataclass(frozen=True)
class Stretch:
    """The bead is `times` as rough around `x_mm`."""

    x_mm: float
    length_mm: float
    times: float


@dataclass(frozen=True)
class _Streams:
    """One random stream for each nuisance."""

    bead: np.random.Generator
    wander: np.random.Generator
    drift: np.random.Generator
    ripple: np.random.Generator
    noise: np.random.Generator
    ends: np.random.Generator
    encoder: np.random.Generator
    grains: np.random.Generator

    @classmethod
    def spawn(cls, seed: np.random.SeedSequence) -> _Streams:
        """Spawn all streams from one seed."""
        return cls(*(np.random.default_rng(child) for child in seed.spawn(8)))


def coupling_factor(closer_mm: Floats, coil_period_mm: float) -> Floats:
    """Two-way amplitude against the nominal gap, exp(4 pi closer / period).

    Examples
    --------
    >>> float(coupling_factor(np.array([0.0]), 5.38)[0])
    1.0
    """
    return np.asarray(np.exp(4 * pi * closer_mm / coil_period_mm))


def attenuated_db(gain_db: Mapping[Channel, float], db_per_mm: float, head: Head) -> dict[Channel, float]:
    """Gain of each channel after the way to the seam and back through steel that takes `db_per_mm` more.

    Examples
    --------
    >>> attenuated_db(dict.fromkeys(Channel, 0.0), 0.02, Head(stand_off_mm=15.0))[Channel.SPECULAR]
    -0.6
    """
    return {
        channel: gain - db_per_mm * 2 * head.stand_off_mm / cos(head.tilt_rad(channel))
        for channel, gain in gain_db.items()
    }


def record(
    flaws: Sequence[FlawGeometry],
    joint: Joint,
    head: Head,
    nuisances: NuisanceSet,
    seed: np.random.SeedSequence,
    *,
    n_samples: int,
    pitch_mm: float,
    gain_db: Mapping[Channel, float],
    bounces: Sequence[Bounce] = (),
    stretches: Sequence[Stretch] = (),
) -> dict[str, NDArray[np.float32]]:
    """Record one seam that starts at 0 mm.

    Returns
    -------
    dict of channel name to float32 array of shape (n_samples,)
        Amplitudes in % FSH.
    """
    streams = _Streams.spawn(seed)
    read = pitch_mm * np.arange(n_samples)
    scan = line_scan(flaws, joint, head, _true_positions(read, pitch_mm, nuisances, streams))
    echoes: dict[Channel, Complex] = {Channel.SPECULAR: scan.specular, Channel.SCATTER: scan.scatter}
    _add_bead(echoes, read, pitch_mm, joint, head, nuisances, stretches, streams.bead)
    _add_grains(echoes, pitch_mm, nuisances, streams.grains)
    common = _common_gain(read, nuisances, bounces, pitch_mm, streams)
    ends = [_draw_end(nuisances.run_in_out, streams.ends) for _ in range(2)]
    for channel in Channel:
        gain = 10 ** ((gain_db[channel] + _ripple_db(read, nuisances, streams.ripple)) / 20)
        echoes[channel] = _with_ends(echoes[channel], read, nuisances.run_in_out, ends) * common * gain
        echoes[channel] += _noise(n_samples, channel, nuisances, streams.noise)
    lost = _lost_samples(n_samples, nuisances, streams.encoder)
    return {channel.value: _written(np.abs(echoes[channel]), lost, nuisances) for channel in Channel}


def _true_positions(read: Floats, pitch: float, nuisances: NuisanceSet, streams: _Streams) -> Floats:
    errors = nuisances.encoder_errors
    if errors is None:
        return read
    wander = smooth_random(len(read), errors.correlation_mm / pitch, streams.encoder)
    return np.maximum.accumulate(read + errors.sd_mm * wander)


def _add_bead(
    echoes: dict[Channel, Complex],
    read: Floats,
    pitch: float,
    joint: Joint,
    head: Head,
    nuisances: NuisanceSet,
    stretches: Sequence[Stretch],
    rng: np.random.Generator,
) -> None:
    """Add the rough bead; on the regular grid, as its jitter is far below its correlation length."""
    bead = nuisances.bead_roughness
    if bead is None:
        return
    height = bead.rms_mm * smooth_random(len(read), bead.correlation_mm / pitch, rng)
    for stretch in stretches:
        bell = np.exp(-(np.abs((read - stretch.x_mm) / (stretch.length_mm / 2)) ** 4))
        height = height * (1 + (stretch.times - 1) * bell)
    joint_bead = RoughJoint(float(read[0]), pitch, tuple(height), bead.across_mm)
    for channel in Channel:
        echoes[channel] = echoes[channel] + flaw_echo_pct(joint_bead, joint, head, channel, read)


def _add_grains(
    echoes: dict[Channel, Complex], pitch: float, nuisances: NuisanceSet, rng: np.random.Generator
) -> None:
    """Add backscatter; the two beams look at the grains from different sides, so each has its own."""
    grains = nuisances.grain_noise
    if grains is None:
        return
    for channel in Channel:
        n = len(echoes[channel])
        real, imaginary = (smooth_random(n, grains.correlation_mm / pitch, rng) for _ in range(2))
        echoes[channel] = echoes[channel] + grains.sd_pct * (real + 1j * imaginary)


def _common_gain(
    read: Floats, nuisances: NuisanceSet, bounces: Sequence[Bounce], pitch: float, streams: _Streams
) -> Floats:
    gain = np.ones(len(read))
    wander, drift = nuisances.lift_off_wander, nuisances.gain_drift
    if wander is not None:
        closer = wander.sd_mm * smooth_random(len(read), wander.correlation_mm / pitch, streams.wander)
        for bounce in bounces:
            closer = closer + bounce.closer_mm * np.exp(
                -4 * np.log(2) * ((read - bounce.x_mm) / bounce.length_mm) ** 2
            )
        gain = gain * coupling_factor(closer, wander.coil_period_mm)
    if drift is not None:
        slope = drift.sd_db * streams.drift.standard_normal()
        gain = gain * 10 ** (slope * (read / read[-1] - 0.5) / 20)
    return gain


def _ripple_db(read: Floats, nuisances: NuisanceSet, rng: np.random.Generator) -> Floats:
    ripple = nuisances.bias_ripple
    if ripple is None:
        return np.zeros(len(read))
    period, phase = rng.uniform(*ripple.period_mm), rng.uniform(0, 2 * pi)
    return np.asarray(ripple.amplitude_db * np.sin(2 * pi * read / period + phase))


def _noise(n: int, channel: Channel, nuisances: NuisanceSet, rng: np.random.Generator) -> Complex | float:
    noise = nuisances.electronic_noise
    if noise is None:
        return 0.0
    sd = noise.specular_pct if channel is Channel.SPECULAR else noise.scatter_pct
    return np.asarray(sd * (rng.standard_normal(n) + 1j * rng.standard_normal(n)), dtype=np.complex128)


def _draw_end(ends: RunInOut | None, rng: np.random.Generator) -> tuple[complex, float]:
    """Draw the corner's echo and how far it reaches, for one end of the seam."""
    if ends is None:
        return 0j, 1.0
    corner = rng.uniform(*ends.corner_pct) * np.exp(2j * pi * rng.uniform())
    return complex(corner), float(rng.uniform(*ends.fade_mm))


def _with_ends(
    echo: Complex, read: Floats, ends: RunInOut | None, drawn: Sequence[tuple[complex, float]]
) -> Complex:
    if ends is None:
        return echo
    for (corner, fade), distance in zip(drawn, (read, read[-1] - read), strict=True):
        on_sheet = 0.5 + 0.5 * erf(distance / (np.sqrt(2) * ends.beam_sd_mm))
        echo = echo * on_sheet + corner * np.exp(-((distance / fade) ** 2))
    return echo


def _lost_samples(n: int, nuisances: NuisanceSet, rng: np.random.Generator) -> list[tuple[int, int]]:
    errors = nuisances.encoder_errors
    if errors is None:
        return []
    starts = rng.integers(1, n, size=rng.poisson(n * errors.drops_per_sample))
    return [(int(s), int(s + rng.integers(1, errors.longest_drop + 1))) for s in np.sort(starts)]


def _written(
    amplitude: Floats, lost: Sequence[tuple[int, int]], nuisances: NuisanceSet
) -> NDArray[np.float32]:
    for first, last in lost:
        amplitude[first:last] = amplitude[first - 1]
    if nuisances.quantisation is not None:
        step = nuisances.quantisation.step_pct
        amplitude = np.round(amplitude / step) * step
    if nuisances.clipping is not None:
        amplitude = np.minimum(amplitude, nuisances.clipping.full_scale_pct)
    return amplitude.astype(np.float32)
