"""Destructive sections of the invented shop: where it cuts, what the examiner writes down."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np

from seamtell.data_synth.excursions import Excursion
from seamtell.data_synth.flaw_sizes import HiddenFlaw
from seamtell.data_synth.shop_plan import CuttingPlan
from seamtell.features.contracts import Flaw, Purpose, Side

__all__ = ["Cut", "SeamRecord", "choose_cuts", "cut_at"]

_FOUND_WITHIN_MM = 5.0
_NEIGHBOURS = {
    Flaw.PINHOLE: (Flaw.EDGE_NOTCH, Flaw.SOUND),
    Flaw.EDGE_NOTCH: (Flaw.PINHOLE, Flaw.LACK_OF_FUSION),
    Flaw.LACK_OF_FUSION: (Flaw.EDGE_NOTCH, Flaw.MISMATCH),
    Flaw.MISMATCH: (Flaw.LACK_OF_FUSION, Flaw.SOUND),
    Flaw.SOUND: (Flaw.PINHOLE, Flaw.MISMATCH),
}
"""What an examiner takes a class for when wrong."""
_EXAMINERS = ("examiner-1", "examiner-2", "examiner-3")


@dataclass(frozen=True)
class SeamRecord:
    """What the choice of cuts needs to know of a seam, small enough to keep for all of them."""

    seam_id: str
    welded_at: datetime
    length_mm: float
    flaws: tuple[HiddenFlaw, ...]
    excursions: tuple[Excursion, ...]
    cutting_seed: np.random.SeedSequence


@dataclass(frozen=True)
class Cut:
    """One section as the examiner wrote it down; `true_flaw` is hidden from everybody else."""

    section_id: str
    seam_id: str
    position_mm: float
    position_tol_mm: float
    flaw: Flaw
    side: Side
    depth_mm: float
    length_mm: float
    width_mm: float
    purpose: Purpose
    examiner: str
    sectioned_on: date
    note: str
    true_flaw: Flaw
    true_cause: str


def choose_cuts(
    records: Iterable[SeamRecord], plan: CuttingPlan, n_sections: int, seed: int
) -> tuple[Cut, ...]:
    """Choose and examine `n_sections` cuts, fewer when the plot does not show enough, by time.

    The choice sees excursions and seams, never the truth.
    """
    rng = np.random.default_rng(np.random.SeedSequence(seed, spawn_key=(2,)))
    seams = list(records)
    shown = [(record, excursion) for record in seams for excursion in record.excursions]
    weights = np.array([1.0 if e.exceeds_limit else plan.below_limit_weight for _, e in shown])
    n_targeted = min(round(n_sections * plan.targeted_share), len(shown))
    # Weighted draw without replacement: the smallest exponential clocks ring first.
    clocks = rng.exponential(size=len(shown)) / weights
    chosen = [(*shown[i], Purpose.TARGETED) for i in np.argsort(clocks)[:n_targeted]]
    n_random = round(n_sections * plan.random_share)
    for number in range(min(n_sections - n_targeted, len(seams)) if shown else 0):
        record = seams[int(rng.integers(len(seams)))]
        at = float(rng.uniform(20, record.length_mm - 20))
        purpose = Purpose.RANDOM if number < n_random else Purpose.PLANNED
        chosen.append((record, Excursion(at, at, at, 0.0), purpose))
    chosen.sort(key=lambda item: (item[0].welded_at, item[0].seam_id, item[1].peak_mm))
    return tuple(
        cut_at(record, excursion, purpose, plan, f"CUT-{number:05d}")
        for number, (record, excursion, purpose) in enumerate(chosen, start=1)
    )


def cut_at(
    record: SeamRecord, excursion: Excursion, purpose: Purpose, plan: CuttingPlan, section_id: str
) -> Cut:
    """Cut a seam at the peak of an excursion and examine it."""
    place = round(excursion.peak_mm * 10)
    own = np.random.SeedSequence(
        record.cutting_seed.entropy, spawn_key=(*record.cutting_seed.spawn_key, place)
    )
    rng = np.random.default_rng(own)
    within = _FOUND_WITHIN_MM if purpose is Purpose.TARGETED else 1.0
    found = _found(record.flaws, excursion, within)
    tolerance = float(rng.choice(plan.tolerances_mm))
    aimed = excursion.peak_mm
    if found is not None and found.label is not Flaw.SOUND:
        aimed = float(np.clip(aimed, found.start_mm, found.end_mm))
    position = float(np.clip(aimed + rng.normal(0, tolerance / 2), 0, record.length_mm))
    true = Flaw.SOUND if found is None else found.label
    label = true
    if rng.random() < plan.wrong_label_share:
        label = _NEIGHBOURS[true][int(rng.integers(2))]
    sizes = _sizes(label, found, rng)
    examined_on = (record.welded_at + timedelta(days=int(rng.integers(2, 15)))).date()
    examiner = _EXAMINERS[int(rng.integers(len(_EXAMINERS)))]
    cause = "" if found is None else found.cause
    return Cut(
        section_id,
        record.seam_id,
        round(position, 1),
        tolerance,
        label,
        *sizes,
        purpose,
        examiner,
        examined_on,
        _note(cause, label, rng),
        true,
        cause,
    )


def _found(flaws: Sequence[HiddenFlaw], excursion: Excursion, within_mm: float) -> HiddenFlaw | None:
    """Find what the cut meets: the nearest flaw, a real one before a droplet."""

    def distance(flaw: HiddenFlaw) -> float:
        return max(flaw.start_mm - excursion.peak_mm, excursion.peak_mm - flaw.end_mm, 0.0)

    near = [flaw for flaw in flaws if distance(flaw) <= within_mm]
    return min(near, key=lambda f: (f.label is Flaw.SOUND, distance(f), -f.length_mm), default=None)


def _sizes(
    label: Flaw, found: HiddenFlaw | None, rng: np.random.Generator
) -> tuple[Side, float, float, float]:
    """Side, depth, length and width as measured, 4 % off; nothing is measured on sound metal."""
    if label is Flaw.SOUND or found is None or found.label is Flaw.SOUND:
        return Side.NA, float("nan"), float("nan"), float("nan")
    true = np.array([found.depth_mm, found.length_mm, found.width_mm])
    depth, length, width = np.round(true * np.exp(0.04 * rng.standard_normal(3)), 2)
    return found.side, float(depth), float(length), float(width)


def _note(cause: str, label: Flaw, rng: np.random.Generator) -> str:
    if label is Flaw.SOUND and cause == "spatter" and rng.random() < 0.5:
        return "droplet on the bead"
    return "second etch needed" if rng.random() < 0.03 else ""
