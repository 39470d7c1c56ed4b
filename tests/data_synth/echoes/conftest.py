"""One table of echoes for all tests here, thinned so that it is built in seconds."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from seamtell.data_synth.echo_designs import DesignedFlaw, designed_flaws
from seamtell.data_synth.echo_library import EchoLibrary, echo_on_grid, sound_level_pct
from seamtell.data_synth.echo_novelty import novelty_misfits
from seamtell.data_synth.echo_search import EchoWindow, Levels
from seamtell.data_synth.expected_ranges import FlawRanges, LackOfFusionRange, MismatchRange
from seamtell.data_synth.flaws import FlawGeometry
from seamtell.data_synth.head import Head, Joint
from seamtell.data_synth.line_scan import line_scan
from seamtell.data_synth.simulated_flaw import EchoCause
from seamtell.features.contracts import Side

HEAD, JOINT = Head(), Joint(1.5, 1.3)
RANGES = FlawRanges(
    lack_of_fusion=LackOfFusionRange(length_mm=(5.0, 42.0)), mismatch=MismatchRange(length_mm=(10.0, 40.0))
)
NOVELTY_DRAWS = 110
"""Enough for a p-value below 0.01."""


def in_thinned_table(one: DesignedFlaw) -> bool:
    flaw = one.flaw
    if flaw.cause is EchoCause.PINHOLE:
        if flaw.gap_mm:
            return flaw.diameter_mm == flaw.second_mm and 0.5 < flaw.diameter_mm < 1.2
        return flaw.side is Side.THROUGH or flaw.side is Side.TOP
    if flaw.cause is EchoCause.LACK_OF_FUSION:
        return flaw.side is Side.BOTTOM and (not flaw.lean or (abs(flaw.lean) == 0.4 and flaw.length_mm > 15))
    if flaw.cause is EchoCause.EDGE_NOTCH:
        return flaw.side is Side.TOP
    if flaw.cause is EchoCause.MISMATCH:
        return flaw.shift_mm > 0 and 2 < flaw.ramp_mm < 10
    if flaw.cause is EchoCause.DROPLET:
        return 0.6 < flaw.width_mm < 1.5
    return True


@pytest.fixture(scope="session")
def library() -> EchoLibrary:
    designed = designed_flaws(JOINT, RANGES)
    echoes = [echo_on_grid(one.flaw, JOINT, HEAD) if in_thinned_table(one) else None for one in designed]
    table = EchoLibrary.of(JOINT, HEAD, designed, echoes)
    misfits, extents = novelty_misfits(table, RANGES, range(NOVELTY_DRAWS))
    return replace(table, novelty_misfits=misfits, novelty_extents_mm=extents)


@pytest.fixture(scope="session")
def recorded() -> Callable[..., EchoWindow]:
    """A seam that the theory simulates, recorded with noise as magnitudes, gain 1.2 on both channels."""

    def build(
        flaws: tuple[FlawGeometry, ...],
        extent_mm: float,
        seed: int = 1,
        *,
        gain_bump_db: float = 0.0,
        reverse: bool = False,
    ) -> EchoWindow:
        rng = np.random.default_rng(seed)
        half = int(2 * (extent_mm / 2 + 20))
        at = 0.5 * np.arange(-half, half + 1)
        scan = line_scan(flaws, JOINT, HEAD, at)
        bell = 10 ** (gain_bump_db * np.exp(-((at / 12) ** 2)) / 20)
        gain, sd = 1.2, 0.12
        echo = np.stack([scan.specular, scan.scatter]) * gain * bell
        noise = sd * (rng.standard_normal(echo.shape) + 1j * rng.standard_normal(echo.shape))
        idle = np.array([gain * abs(sound_level_pct(JOINT, HEAD)), sd * np.sqrt(np.pi / 2)])
        amplitude = np.abs(echo + noise)
        levels = Levels(gain, gain, sound_level_pct(JOINT, HEAD), float(idle[0]), float(idle[1]))
        window = EchoWindow.measured(
            at + 100.0,
            amplitude,
            np.repeat(idle[:, None], len(at), axis=1),
            np.array([sd, sd]),
            (100 - extent_mm / 2 - 5, 100 + extent_mm / 2 + 5),
            levels,
            9.4,
        )
        return window.mirrored() if reverse else window

    return build
