"""How well the table fits simulated flaws that it does not hold: the yardstick of novelty.

Flaws are drawn from the expected ranges, so their sizes, ragged depths and rounded ends lie
between and beside the designed ones. Each is recorded as a shop would: with receiver noise
and a slightly rough bead, and with an error like the theory's own, so that a flaw that the
theory describes as well as it usually does is not called unknown.
"""

from __future__ import annotations

from collections.abc import Iterable
from math import sqrt

import numpy as np

from seamtell.data_synth.arrays import Complex, Floats
from seamtell.data_synth.echo_library import (
    GRID_MM,
    EchoLibrary,
    reach_mm,
    sound_level_pct,
    two_way_beam_mm,
)
from seamtell.data_synth.echo_search import EchoWindow, Levels, search
from seamtell.data_synth.expected_flaws import ExpectedFlaw, draw_expected_flaw
from seamtell.data_synth.expected_ranges import FlawRanges, SoundCause
from seamtell.data_synth.line_scan import line_scan
from seamtell.data_synth.smooth_random import smooth_random
from seamtell.data_synth.validity import check_flaw
from seamtell.features.contracts import Flaw
from seamtell.features.errors import SeamtellError

__all__ = ["NOVELTY_DRAWS", "WINDOW_BEAMS", "novelty_misfits"]

NOVELTY_DRAWS = 240
WINDOW_BEAMS = 1.5
"""A fit reads so many beam widths to either side of an indication."""

_MOST_SEEN_BEAMS = 0.5
"""An indication reaches about so far beyond its flaw."""
_NOISE_SHARE = 0.02
_BEAD_SHARE = 0.05
_BEAD_CORRELATION_MM = 4.0
_ERROR_DB = 0.5
"""Theory against full-wave results: median 0.2 dB, worst 1.3 dB on the peak (as a normal spread)."""
_STRETCH = 0.03
"""Theory against full-wave results: widths within 8 %, nearly all within 5 %."""
_LEAST_LEVEL_PCT = 5.0


def novelty_misfits(library: EchoLibrary, ranges: FlawRanges, seeds: Iterable[int]) -> tuple[Floats, Floats]:
    """Best misfit of one drawn flaw for each seed, and about how long its indication is in mm.

    Draws beyond the theory are left out. Rough stretches are not drawn: the table holds
    none, they are not one flaw at one place.
    """
    kinds = _kinds(ranges)
    found = []
    for seed in seeds:
        rng = np.random.default_rng(seed)
        label, cause = kinds[seed % len(kinds)]
        try:
            drawn = draw_expected_flaw(label, library.joint, rng, ranges, cause)
            window = _recorded(drawn.placed(float(rng.uniform(-0.5, 0.5) * GRID_MM)), library, rng)
        except SeamtellError:
            continue
        found.append((float(search(library, window).misfit.min()), window.extent_mm))
    misfits, extents = np.array(found).reshape(-1, 2).T
    return misfits, extents


def _kinds(ranges: FlawRanges) -> list[tuple[Flaw, SoundCause | None]]:
    kinds: list[tuple[Flaw, SoundCause | None]] = [
        (flaw, None) for flaw in ranges.labels if flaw is not Flaw.SOUND
    ]
    if ranges.sound is not None:
        kinds += [(Flaw.SOUND, SoundCause.DROPLET), (Flaw.SOUND, SoundCause.BOUNCE)]
    return kinds


def _recorded(drawn: ExpectedFlaw, library: EchoLibrary, rng: np.random.Generator) -> EchoWindow:
    """One drawn flaw as the recorder would leave it, gain 1."""
    beam_mm = two_way_beam_mm(library.head)
    aside = _MOST_SEEN_BEAMS * beam_mm
    reach = max(aside + WINDOW_BEAMS * beam_mm, reach_mm(library.head))
    half = int(np.ceil((max(-drawn.start_mm, drawn.end_mm) + reach) / GRID_MM))
    at = GRID_MM * np.arange(-half, half + 1)
    sound = sound_level_pct(library.joint, library.head)
    level = max(abs(sound), _LEAST_LEVEL_PCT)
    specular, scatter = _with_theory_error(drawn, library, at, rng)
    sd, bead = _NOISE_SHARE * level, _BEAD_SHARE * level
    idle = sqrt(bead**2 + 2 * sd**2)
    noise = np.array([sqrt(sd**2 + bead**2 / 2)] * 2)
    factor = 1.0 if drawn.bump is None else drawn.bump.factor(at)
    amplitude = np.stack(
        [
            np.abs((sound + specular + _bead(len(at), bead, rng)) * factor + _noise(len(at), sd, rng)),
            np.abs((scatter + _bead(len(at), bead, rng)) * factor + _noise(len(at), sd, rng)),
        ]
    )
    levels = Levels(1.0, 1.0, sound, abs(sound), idle)
    baseline = np.repeat([[abs(sound)], [idle]], len(at), axis=1)
    centres = (drawn.start_mm - aside, drawn.end_mm + aside)
    return EchoWindow.measured(at, amplitude, baseline, noise, centres, levels, beam_mm)


def _with_theory_error(
    drawn: ExpectedFlaw, library: EchoLibrary, at_mm: Floats, rng: np.random.Generator
) -> tuple[Complex, Complex]:
    if not drawn.geometry:
        return np.zeros(len(at_mm), complex), np.zeros(len(at_mm), complex)
    for part in drawn.geometry:
        check_flaw(part, library.joint, library.head)
    middle = (drawn.start_mm + drawn.end_mm) / 2
    stretched = middle + (at_mm - middle) * (1 + _STRETCH * rng.standard_normal())
    scan = line_scan(drawn.geometry, library.joint, library.head, stretched)
    sound = line_scan((), library.joint, library.head, at_mm[:1]).specular[0]
    errors = 10 ** (_ERROR_DB * rng.standard_normal(2) / 20)
    return (scan.specular - sound) * errors[0], scan.scatter * errors[1]


def _noise(n: int, sd_pct: float, rng: np.random.Generator) -> Complex:
    return np.asarray(sd_pct * (rng.standard_normal(n) + 1j * rng.standard_normal(n)))


def _bead(n: int, rms_pct: float, rng: np.random.Generator) -> Complex:
    """Echo of a slightly rough bead: complex, smooth along the seam."""
    correlation = _BEAD_CORRELATION_MM / GRID_MM
    parts = [smooth_random(n, correlation, rng) for _ in range(2)]
    return np.asarray(rms_pct / sqrt(2) * (parts[0] + 1j * parts[1]))
