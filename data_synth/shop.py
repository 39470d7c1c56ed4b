"""Marram Bay Carriage Works: seams one by one, and the sections cut from them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from seamtell.data_synth.cutting import Cut, SeamRecord, choose_cuts, cut_at
from seamtell.data_synth.excursions import find_excursions
from seamtell.data_synth.flaw_sizes import HiddenFlaw
from seamtell.data_synth.recording import attenuated_db, record
from seamtell.data_synth.seam_plan import SeamPlan, plan_seam
from seamtell.data_synth.shop_plan import ShopPlan
from seamtell.features.contracts import Purpose, SeamTrace
from seamtell.features.errors import SeamtellError

__all__ = ["InventedSeam", "Shop", "SimulatedSeam", "invent_seam", "invent_shop", "simulate_sections"]


@dataclass(frozen=True, eq=False)
class InventedSeam:
    """A trace, and what nobody but the inventor knows about it."""

    trace: SeamTrace
    record: SeamRecord

    @property
    def flaws(self) -> tuple[HiddenFlaw, ...]:
        """True flaws and causes of false indications."""
        return self.record.flaws


@dataclass(frozen=True, eq=False)
class SimulatedSeam:
    """A trace with a cut at every excursion."""

    trace: SeamTrace
    cuts: tuple[Cut, ...]


@dataclass(frozen=True)
class Shop:
    """An invented shop; iterate over :meth:`seams`, then ask for :meth:`sections`.

    Parameters
    ----------
    n_seams, seed : int
    plan : ShopPlan
    """

    n_seams: int
    seed: int
    plan: ShopPlan

    def seam(self, index: int) -> InventedSeam:
        """Invent one seam; it depends on no other."""
        return invent_seam(self.plan, self.seed, index, self.n_seams)

    def seams(self) -> Iterator[InventedSeam]:
        """Invent all seams in the order they were welded, keeping none."""
        for index in range(self.n_seams):
            yield self.seam(index)

    def sections(self, records: list[SeamRecord], n_sections: int) -> tuple[Cut, ...]:
        """Cut `n_sections` sections from the seams whose records were kept."""
        return choose_cuts(records, self.plan.cutting, n_sections, self.seed)


def invent_shop(n_seams: int, seed: int, plan: ShopPlan | None = None) -> Shop:
    """Invent a shop with `n_seams` seams.

    Raises
    ------
    SeamtellError
        Less than one seam, or a negative seed.

    Examples
    --------
    >>> shop = invent_shop(3, seed=1)
    >>> [seam.trace.seam_id for seam in shop.seams()]
    ['MB-000000', 'MB-000001', 'MB-000002']
    """
    if n_seams < 1 or seed < 0:
        raise SeamtellError(
            f"{n_seams} seams with seed {seed}, expected at least one seam and a seed from 0 on"
        )
    return Shop(n_seams, seed, plan or ShopPlan())


def invent_seam(plan: ShopPlan, seed: int, index: int, n_seams: int) -> InventedSeam:
    """Invent seam `index` of a shop of `n_seams`."""
    return _scanned(plan, plan_seam(plan, seed, index, n_seams))


def simulate_sections(
    plan: ShopPlan, seed: int, n_seams: int, part: int = 0, parts: int = 1
) -> Iterator[SimulatedSeam]:
    """Invent a shop of `n_seams` and cut at every excursion (four to five in ten seams).

    Only seams that something befell are scanned: a cheap, endless supply of labelled
    excursions from the shop's own process. Several processes share the work, each its
    `part` of `parts`; every part spans all months.
    """
    for index in range(part, n_seams, parts):
        planned = plan_seam(plan, seed, index, n_seams)
        if not planned.flaws:
            continue
        seam = _scanned(plan, planned)
        cuts = tuple(
            cut_at(seam.record, excursion, Purpose.TARGETED, plan.cutting, f"SIM-{index:07d}-{number}")
            for number, excursion in enumerate(seam.record.excursions)
        )
        if cuts:
            yield SimulatedSeam(seam.trace, cuts)


def _scanned(plan: ShopPlan, planned: SeamPlan) -> InventedSeam:
    joint, line = planned.recipe.joint, planned.line
    head = line.head_after(planned.weeks)
    amplitudes = record(
        [part for flaw in planned.flaws for part in flaw.geometry],
        joint,
        head,
        plan.nuisances,
        planned.recording_seed,
        n_samples=planned.n_samples,
        pitch_mm=line.pitch_mm,
        gain_db=attenuated_db(line.gain_after(planned.weeks), planned.attenuation_db_per_mm, head),
        bounces=planned.bounces,
        stretches=planned.stretches,
    )
    trace = SeamTrace(
        planned.seam_id,
        planned.welded_at,
        line.name,
        planned.recipe.name,
        0.0,
        line.pitch_mm,
        amplitudes,
        coil=planned.coil,
        shift=planned.shift,
        thickness_a_mm=joint.sheet_a_mm,
        thickness_b_mm=joint.sheet_b_mm,
        speed_m_per_min=planned.recipe.speed_m_per_min,
    )
    found = find_excursions(trace, planned.recipe.limits(), plan.cutting.excursion_share_of_limit)
    kept = SeamRecord(
        planned.seam_id, planned.welded_at, trace.end_mm, planned.flaws, found, planned.cutting_seed
    )
    return InventedSeam(trace, kept)
