"""Put the echo of a simulated flaw into a recorded sound stretch; numbers in, numbers out.

Echoes add as complex numbers, but a recording holds magnitudes alone. So the lost phase
is put back before the flaw's echo is added:

- *specular*: the phase of the sound joint's echo, from the theory. What noise and bead
  add to it across that phase is lost; it is of second order in the recorded magnitude.
- *scatter* (and specular between sheets of one thickness, where the sound joint has no
  echo): the phase of what idles there is unknown. It is drawn, uniform over the circle
  and smooth along the seam with a correlation of a third of the beam width: what the
  rough bead sends through a beam changes no faster. Receiver noise does, so white noise
  under a strong flaw comes out a little too smooth; the magnitudes stay the recorded ones.

The flaw's echo is scaled to the shop's percent by the gain of each channel and by one
factor for both channels that makes the theory's sound level the recorded one: drift,
wear and lift-off of this very seam. Steps of the recorder and position errors of the
encoder are not put on top of the implanted echo.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import log10

import numpy as np
from numpy.typing import NDArray

from seamtell.data_synth.arrays import Complex, Floats
from seamtell.data_synth.expected_flaws import ExpectedFlaw
from seamtell.data_synth.head import Head, Joint
from seamtell.data_synth.line_scan import line_scan
from seamtell.data_synth.smooth_random import smooth_random
from seamtell.features.contracts import Channel

__all__ = ["REACH_MM", "HostSetting", "Phases", "draw_phases", "host_setting", "implant", "implanted"]

REACH_MM = 25.0
"""Farther from a flaw its echo is below 0.01 % of a free edge: samples there stay as recorded."""

_MOST_CORRECTION_DB = 3.0
_CORRELATION_BEAMS = 1 / 3
_FULL_SCREEN_PCT = 100.0
_LEAST_SOUND_PCT = 0.5
"""A weaker sound echo is no measure of the gain, and its phase is not that of the recording."""


@dataclass(frozen=True)
class HostSetting:
    """What the flaw's echo is worked out with, and scaled by.

    Parameters
    ----------
    gain_db : mapping of Channel to float
        From % of the free-edge echo to % FSH, for this very seam.
    sound_pct : complex
        Echo of the sound joint on specular, % of the free edge.
    """

    joint: Joint
    head: Head
    gain_db: Mapping[Channel, float]
    sound_pct: complex

    @property
    def sound_is_seen(self) -> bool:
        """Whether the sound joint is echo enough to lend phase and level."""
        return abs(self.sound_pct) >= _LEAST_SOUND_PCT


@dataclass(frozen=True, eq=False)
class Phases:
    """Phase of what was recorded, radians, shape (n,) each or one number for all samples."""

    specular: Floats | float
    scatter: Floats | float


def host_setting(
    joint: Joint, head: Head, gain_db: Mapping[Channel, float], specular_level_pct: float
) -> HostSetting:
    """Gain of one recorded seam: the head's, moved by what the seam's own level says, 3 dB at most.

    Parameters
    ----------
    gain_db : mapping of Channel to float
        Of the head, for example fitted on a reference blank; 0 dB when unknown.
    specular_level_pct : float
        Baseline of the recorded sound seam on specular, % FSH.

    Examples
    --------
    >>> setting = host_setting(Joint(1.5, 1.3), Head(), dict.fromkeys(Channel, 0.0), 50.0)
    >>> setting.gain_db[Channel.SCATTER]
    3.0
    """
    sound = complex(line_scan((), joint, head, np.zeros(1)).specular[0])
    moved_db = 0.0
    if abs(sound) >= _LEAST_SOUND_PCT and specular_level_pct > 0:
        apart = 20 * log10(specular_level_pct / abs(sound)) - gain_db[Channel.SPECULAR]
        moved_db = float(np.clip(apart, -_MOST_CORRECTION_DB, _MOST_CORRECTION_DB))
    return HostSetting(joint, head, {channel: gain_db[channel] + moved_db for channel in Channel}, sound)


def draw_phases(
    setting: HostSetting, n_samples: int, pitch_mm: float, beam_width_mm: float, rng: np.random.Generator
) -> Phases:
    """Phases of one recorded seam; scatter is always drawn, so that one stream serves every joint."""
    correlation = _CORRELATION_BEAMS * beam_width_mm / pitch_mm
    scatter, specular = (_smooth_phase(n_samples, correlation, rng) for _ in range(2))
    return Phases(float(np.angle(setting.sound_pct)) if setting.sound_is_seen else specular, scatter)


def implant(
    recorded_pct: Mapping[str, NDArray[np.float32]],
    positions_mm: Floats,
    flaws: Sequence[ExpectedFlaw],
    setting: HostSetting,
    beam_width_mm: float,
    rng: np.random.Generator,
) -> dict[str, NDArray[np.float32]]:
    """Put flaws into a recorded seam, the phases drawn; see `implanted`."""
    pitch = float(positions_mm[1] - positions_mm[0])
    phases = draw_phases(setting, len(positions_mm), pitch, beam_width_mm, rng)
    return implanted(recorded_pct, positions_mm, flaws, setting, phases)


def implanted(
    recorded_pct: Mapping[str, NDArray[np.float32]],
    positions_mm: Floats,
    flaws: Sequence[ExpectedFlaw],
    setting: HostSetting,
    phases: Phases,
) -> dict[str, NDArray[np.float32]]:
    """Put flaws into a recorded seam whose phases are given.

    Parameters
    ----------
    recorded_pct : mapping of channel name to float32 array of shape (n,)
        Magnitudes, % FSH. Other channels than the two pass unchanged.
    positions_mm : float array of shape (n,)
        Rising and regular.
    flaws : sequence of ExpectedFlaw
        Where they shall lie.

    Returns
    -------
    dict of channel name to float32 array of shape (n,)
        Samples that no echo and no bump reaches are the recorded ones, bit for bit;
        nothing is above full screen.
    """
    echoes = _flaw_echoes(positions_mm, flaws, setting)
    bump = np.ones(len(positions_mm))
    for flaw in flaws:
        if flaw.bump is not None:
            bump = bump * flaw.bump.factor(positions_mm)
    out = dict(recorded_pct)
    for channel in Channel:
        phase = phases.specular if channel is Channel.SPECULAR else phases.scatter
        recorded = recorded_pct[channel]
        total = np.abs(recorded * np.exp(1j * np.asarray(phase)) + echoes[channel]) * bump
        touched = (echoes[channel] != 0) | (bump != 1)
        out[channel.value] = np.where(
            touched, np.minimum(total, _FULL_SCREEN_PCT).astype(np.float32), recorded
        )
    return out


def _flaw_echoes(
    positions_mm: Floats, flaws: Sequence[ExpectedFlaw], setting: HostSetting
) -> dict[Channel, Complex]:
    """What the flaws alone add, % FSH; parts of one flaw may scatter into each other, flaws do not."""
    echoes: dict[Channel, Complex] = {
        channel: np.zeros(len(positions_mm), dtype=np.complex128) for channel in Channel
    }
    factor = {channel: 10 ** (setting.gain_db[channel] / 20) for channel in Channel}
    for flaw in flaws:
        if not flaw.geometry:
            continue
        ends = [flaw.start_mm - REACH_MM, flaw.end_mm + REACH_MM]
        near = slice(*np.searchsorted(positions_mm, ends))
        if near.start == near.stop:
            continue
        scan = line_scan(flaw.geometry, setting.joint, setting.head, positions_mm[near])
        echoes[Channel.SPECULAR][near] += factor[Channel.SPECULAR] * (scan.specular - setting.sound_pct)
        echoes[Channel.SCATTER][near] += factor[Channel.SCATTER] * scan.scatter
    return echoes


def _smooth_phase(n: int, correlation_samples: float, rng: np.random.Generator) -> Floats:
    """Phase of a smooth random complex field: uniform over the circle."""
    real, imaginary = (smooth_random(n, correlation_samples, rng) for _ in range(2))
    return np.asarray(np.arctan2(imaginary, real))
