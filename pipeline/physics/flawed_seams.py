"""One seam with simulated flaws in it, and the rows of descriptors that it yields; runs in a worker."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from seamtell.data_synth.expected_flaws import ExpectedFlaw
from seamtell.data_synth.expected_nuisances import draw_expected_nuisances
from seamtell.data_synth.head import Head, Joint
from seamtell.data_synth.implanting import host_setting, implant
from seamtell.data_synth.recording import attenuated_db, record
from seamtell.features.contracts import Channel, Indication, RecipeLimits, SeamTrace
from seamtell.features.describer import analyse_seam, describe_seam
from seamtell.features.descriptors import registry
from seamtell.features.indications import IndicationSettings

__all__ = ["FlawOutcome", "FlawedSeam", "RowSettings", "flaw_rows", "flawed_trace"]

_FULL_SCREEN_PCT = 100.0

Extent = tuple[float, float]


@dataclass(frozen=True)
class RowSettings:
    """How indications are found and matched, the same for every seam.

    Parameters
    ----------
    tolerance_mm : float
        An indication this far from a flaw is still its own.
    """

    indications: IndicationSettings
    tolerance_mm: float


@dataclass(frozen=True, eq=False)
class FlawedSeam:
    """A seam and the flaws to put into it.

    Parameters
    ----------
    trace : SeamTrace
        The recorded host; for a simulated seam only its frame is read, amplitudes are made.
    is_recorded : bool
    gain_db : mapping of Channel to float
        Of the line's head.
    specular_level_pct : float
        Baseline of the recorded sound seam; not read for a simulated one.
    known : tuple of (start_mm, end_mm)
        Indications that the host had before.
    group : str
        Whose recordings these are: a coil, a seam, or a simulated seam of its own.
    """

    trace: SeamTrace
    is_recorded: bool
    joint: Joint
    head: Head
    gain_db: Mapping[Channel, float]
    limits: RecipeLimits
    specular_level_pct: float
    known: tuple[Extent, ...]
    group: str
    flaws: tuple[ExpectedFlaw, ...]
    seed: np.random.SeedSequence


@dataclass(frozen=True, eq=False)
class FlawOutcome:
    """What became of one flaw; `values` holds the model's descriptors when it was kept."""

    flaw: ExpectedFlaw
    group: str
    recipe: str
    indicated: bool
    values: NDArray[np.float64] | None


def flaw_rows(seams: Sequence[FlawedSeam], settings: RowSettings) -> list[FlawOutcome]:
    """Simulate, find and describe; one outcome for every flaw, in order."""
    columns = [registry.names().index(name) for name in registry.model_names()]
    outcomes: list[FlawOutcome] = []
    for seam in seams:
        analysis = analyse_seam(flawed_trace(seam), seam.limits, settings.indications)
        rows = describe_seam(analysis)
        owners = [_own(flaw, analysis.indications, settings.tolerance_mm) for flaw in seam.flaws]
        for flaw, own in zip(seam.flaws, owners, strict=True):
            kept = (
                own is not None and owners.count(own) == 1 and not _was_there(analysis.indications[own], seam)
            )
            values = rows[own][columns] if kept else None
            outcomes.append(FlawOutcome(flaw, seam.group, seam.trace.recipe, own is not None, values))
    return outcomes


def flawed_trace(seam: FlawedSeam) -> SeamTrace:
    """The trace with the flaws in it: implanted into what was recorded, or simulated as a whole."""
    make = _implanted if seam.is_recorded else _simulated
    return replace(seam.trace, amplitudes_pct=make(seam))


def _implanted(seam: FlawedSeam) -> dict[str, NDArray[np.float32]]:
    setting = host_setting(seam.joint, seam.head, seam.gain_db, seam.specular_level_pct)
    return implant(
        {name: np.asarray(values, np.float32) for name, values in seam.trace.amplitudes_pct.items()},
        seam.trace.positions_mm(),
        seam.flaws,
        setting,
        seam.limits.beam_width_mm,
        np.random.default_rng(seam.seed),
    )


def _simulated(seam: FlawedSeam) -> dict[str, NDArray[np.float32]]:
    # Named, not spawned: spawning would count up in the seed, and the next call would differ.
    drawing, recording = (
        np.random.SeedSequence(seam.seed.entropy, spawn_key=(*seam.seed.spawn_key, key)) for key in range(2)
    )
    rng = np.random.default_rng(drawing)
    nuisances = draw_expected_nuisances(rng)
    steel = nuisances.coil_attenuation
    more_db_per_mm = 0.0 if steel is None else steel.sd_db_per_mm * rng.standard_normal()
    amplitudes = record(
        [part for flaw in seam.flaws for part in flaw.geometry],
        seam.joint,
        seam.head,
        nuisances,
        recording,
        n_samples=seam.trace.n_samples,
        pitch_mm=seam.trace.pitch_mm,
        gain_db=attenuated_db(seam.gain_db, float(more_db_per_mm), seam.head),
    )
    at = seam.trace.positions_mm()
    for flaw in seam.flaws:
        if flaw.bump is not None:
            factor = flaw.bump.factor(at)
            amplitudes = {
                name: np.minimum(values * factor, _FULL_SCREEN_PCT).astype(np.float32)
                for name, values in amplitudes.items()
            }
    return amplitudes


def _own(flaw: ExpectedFlaw, found: Sequence[Indication], tolerance_mm: float) -> int | None:
    """Indication that shares most length with the flaw, the nearer peak among equals."""
    middle = (flaw.start_mm + flaw.end_mm) / 2
    best: tuple[float, float, int] | None = None
    for number, one in enumerate(found):
        shared = min(one.end_mm, flaw.end_mm) - max(one.start_mm, flaw.start_mm)
        if shared < -tolerance_mm:
            continue
        rank = (max(shared, 0.0), -abs(one.peak_mm - middle), number)
        best = rank if best is None else max(best, rank)
    return None if best is None else best[2]


def _was_there(one: Indication, seam: FlawedSeam) -> bool:
    return any(one.start_mm <= end and start <= one.end_mm for start, end in seam.known)
