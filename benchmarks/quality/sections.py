"""Sections of the demo shop's plan, described by the kernel, with the trace round each indication."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seamtell.data_synth.cutting import Cut
from seamtell.data_synth.shop import SimulatedSeam, simulate_sections
from seamtell.data_synth.shop_plan import ShopPlan
from seamtell.features.contracts import CHANNELS, Flaw, SeamTrace
from seamtell.features.describer import SeamAnalysis, analyse_seam
from seamtell.features.descriptors.registry import model_names, names
from seamtell.features.kernel.batch import describe_batch
from seamtell.features.trace_batch import TraceBatch
from seamtell.pipeline.describe import TRACES_AT_ONCE, batches
from seamtell.pipeline.evaluation.matching import match_sections
from seamtell.pipeline.settings import Settings

__all__ = ["LABELS", "PITCH_MM", "WINDOW_SAMPLES", "Sections", "joined", "load", "save", "shop_sections"]

LABELS = tuple(flaw.value for flaw in Flaw)
PITCH_MM = 0.5
WINDOW_SAMPLES = 512
"""256 mm: the longest flaw that the shop knows, 200 mm, with what lies round it."""


@dataclass(frozen=True, eq=False)
class Sections:
    """One row a section that met an indication.

    Parameters
    ----------
    values : array of shape (n, d)
        The descriptors that our classifiers read.
    scaled, raw_pct : float32 arrays of shape (n, 2, WINDOW_SAMPLES)
        Window round the middle of the indication at `PITCH_MM`: excursion over the baseline in units of
        the noise, and amplitude in % FSH. Dead zones and what lies beyond the seam are 0, and the
        baseline level.
    extent_mm : array of shape (n,)
        Length of the indication.
    written, hidden : int64 arrays of shape (n,)
        Index into `LABELS`: what the examiner wrote, and what truly is there.
    sizes_mm : array of shape (n,)
        Length of the flaw as measured; NaN for sound.
    seams, coils, recipes : str arrays of shape (n,)
    """

    values: NDArray[np.float64]
    scaled: NDArray[np.float32]
    raw_pct: NDArray[np.float32]
    extent_mm: NDArray[np.float64]
    written: NDArray[np.int64]
    hidden: NDArray[np.int64]
    sizes_mm: NDArray[np.float64]
    seams: NDArray[np.str_]
    coils: NDArray[np.str_]
    recipes: NDArray[np.str_]

    def __len__(self) -> int:
        return len(self.written)

    def take(self, rows: NDArray[np.int64]) -> Sections:
        """Rows by number, in that order."""
        return Sections(*(getattr(self, one.name)[rows] for one in fields(self)))


def save(path: Path, sections: Sections) -> None:
    """Write through a neighbouring file, so that an interrupted run leaves no half."""
    half = path.with_suffix(".half.npz")
    np.savez(half, **{one.name: getattr(sections, one.name) for one in fields(sections)})
    half.replace(path)


def load(path: Path) -> Sections:
    """Read what `save` wrote."""
    with np.load(path, allow_pickle=False) as archive:
        return Sections(*(archive[one.name] for one in fields(Sections)))


def joined(parts: Sequence[Sections]) -> Sections:
    """Rows of all `parts`, one after the other."""
    return Sections(*(np.concatenate([getattr(p, one.name) for p in parts]) for one in fields(Sections)))


def shop_sections(plan: ShopPlan, seed: int, seams: int, part: int = 0, parts: int = 1) -> Sections:
    """Cut one `part` of `parts` of a shop of `seams` seams at every excursion.

    A cut that meets no indication is left out, as in training.
    """
    simulated = simulate_sections(plan, seed, seams, part, parts)
    return joined([_of_batch(plan, batch, seed) for batch in batches(simulated, TRACES_AT_ONCE)])


def _of_batch(plan: ShopPlan, batch: Sequence[SimulatedSeam], seed: int) -> Sections:
    limits = {recipe.name: recipe.limits() for recipe in plan.recipes}
    traces = [seam.trace for seam in batch]
    described = describe_batch(TraceBatch.of_traces(traces), limits)
    seam_ids = np.array([trace.seam_id for trace in traces])
    indications = pd.DataFrame(
        {
            "seam_id": seam_ids[described.seam],
            "indication": described.indication,
            "start_mm": described.start_mm,
            "end_mm": described.end_mm,
            "peak_mm": described.peak_mm,
        }
    )
    cuts = {cut.section_id: cut for seam in batch for cut in seam.cuts}
    matched = _matched(list(cuts.values()), indications, traces)
    at = indications.reset_index().set_index(["seam_id", "indication"])["index"]
    found = at.loc[list(zip(matched["seam_id"], matched["indication"], strict=True))].to_numpy(np.int64)
    chosen = [cuts[section] for section in matched["section_id"]]
    by_seam = {trace.seam_id: analyse_seam(trace, limits[trace.recipe]) for trace in traces}
    middles = (described.start_mm[found] + described.end_mm[found]) / 2
    windows = [_windows(by_seam[cut.seam_id], at) for cut, at in zip(chosen, middles, strict=True)]
    read = [names().index(name) for name in model_names()]
    return Sections(
        values=described.descriptors[found][:, read],
        scaled=np.array([one[0] for one in windows], dtype=np.float32),
        raw_pct=np.array([one[1] for one in windows], dtype=np.float32),
        extent_mm=described.end_mm[found] - described.start_mm[found],
        written=np.array([LABELS.index(cut.flaw.value) for cut in chosen], dtype=np.int64),
        hidden=np.array([LABELS.index(cut.true_flaw.value) for cut in chosen], dtype=np.int64),
        sizes_mm=np.array([cut.length_mm for cut in chosen], dtype=np.float64),
        seams=np.array([f"{seed}/{cut.seam_id}" for cut in chosen]),
        coils=np.array([f"{seed}/{group}" for group in matched["group"]]),
        recipes=matched["recipe"].to_numpy(str),
    )


def _matched(cuts: list[Cut], indications: pd.DataFrame, traces: list[SeamTrace]) -> pd.DataFrame:
    names_of = ("section_id", "seam_id", "flaw", "position_mm", "position_tol_mm", "purpose")
    sections = pd.DataFrame({name: [getattr(cut, name) for cut in cuts] for name in names_of})
    seams = pd.DataFrame(
        {
            name: [getattr(trace, name) for trace in traces]
            for name in ("seam_id", "welded_at", "coil", "recipe")
        }
    )
    tolerance = Settings().match.extra_tolerance_mm
    matched = match_sections(sections, indications, tolerance, seams=seams)
    return matched[matched["matched"]]


def _windows(analysis: SeamAnalysis, middle_mm: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Noise-scaled excursions and amplitudes in % FSH, each of shape (2, WINDOW_SAMPLES)."""
    trace, limits = analysis.trace, analysis.limits
    positions = trace.positions_mm()
    read = middle_mm + PITCH_MM * (np.arange(WINDOW_SAMPLES) - WINDOW_SAMPLES / 2)
    low, high = trace.start_mm + limits.dead_zone_start_mm, trace.end_mm - limits.dead_zone_end_mm
    judged = (read >= low) & (read <= high)
    scaled, raw = [], []
    for channel in CHANNELS:
        amplitude = np.asarray(trace.amplitudes_pct[channel], dtype=np.float64)
        baseline = analysis.baseline_pct[channel]
        excursion = np.interp(read, positions, (amplitude - baseline) / analysis.noise_pct[channel])
        scaled.append(np.where(judged, excursion, 0.0))
        raw.append(np.where(judged, np.interp(read, positions, amplitude), np.median(baseline)))
    return np.array(scaled), np.array(raw)
