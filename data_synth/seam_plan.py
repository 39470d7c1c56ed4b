"""What one seam of the invented shop is, before it is scanned; drawn from the seam's own seed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import lru_cache

import numpy as np

from seamtell.data_synth.flaw_sizes import HiddenFlaw, draw_flaw, draw_spatter
from seamtell.data_synth.recording import Bounce, Stretch
from seamtell.data_synth.shop_plan import LinePlan, RecipePlan, ShopPlan
from seamtell.features.contracts import Flaw, Side

__all__ = ["SeamPlan", "plan_seam"]

_COILS, _SEAMS, _EVENTS = 0, 1, 3
_SHIFTS = (("early", 6), ("late", 14))
_CLEAR_OF_ENDS_MM = 18.0


@dataclass(frozen=True)
class SeamPlan:
    """Metadata and everything that will disturb the trace, true flaws first."""

    index: int
    seam_id: str
    welded_at: datetime
    line: LinePlan
    recipe: RecipePlan
    coil: str
    shift: str
    length_mm: float
    weeks: float
    month: int
    attenuation_db_per_mm: float
    flaws: tuple[HiddenFlaw, ...]
    bounces: tuple[Bounce, ...]
    stretches: tuple[Stretch, ...]
    recording_seed: np.random.SeedSequence
    cutting_seed: np.random.SeedSequence

    @property
    def n_samples(self) -> int:
        """Number of samples of the trace."""
        return int(self.length_mm / self.line.pitch_mm) + 1


def plan_seam(plan: ShopPlan, seed: int, index: int, n_seams: int) -> SeamPlan:
    """Draw seam `index` of `n_seams`; it depends on no other seam."""
    own = np.random.SeedSequence(seed, spawn_key=(_SEAMS, index))
    drawing, recording, cutting = own.spawn(3)
    rng = np.random.default_rng(drawing)
    welded_at, shift, day = _when(plan, index, n_seams, rng)
    line = plan.lines[int(rng.integers(len(plan.lines)))]
    month = plan.month_of(day)
    recipe, coil, attenuation = _campaign(plan, seed, line, day, month, shift)
    length = float(np.round(rng.uniform(*plan.seam_length_mm), 1))
    flaws = _draw_flaws(plan, line, recipe, month, length, rng)
    bounces, stretches, false = _draw_false(plan, length, rng)
    if plan.incidents or plan.marks:
        happenings = np.random.default_rng(np.random.SeedSequence(seed, spawn_key=(_EVENTS, index)))
        flaws += _draw_events(plan, line, recipe, day, shift, length, flaws, happenings)
    return SeamPlan(
        index,
        f"MB-{index:06d}",
        welded_at,
        line,
        recipe,
        coil,
        shift,
        length,
        day / 7,
        month,
        attenuation,
        (*flaws, *false),
        bounces,
        stretches,
        recording,
        cutting,
    )


def _when(plan: ShopPlan, index: int, n_seams: int, rng: np.random.Generator) -> tuple[datetime, str, int]:
    """Spread the seams evenly over two shifts of eight hours, Monday to Saturday."""
    working = _working_days(plan.start, plan.days)
    place = (index + rng.uniform(0, 0.9)) / n_seams * len(working)
    day = working[int(place)]
    hours = (place % 1) * 16
    name, _ = _SHIFTS[int(hours // 8)]
    started = plan.start + timedelta(days=day, hours=_SHIFTS[0][1] + hours)
    return started.replace(microsecond=0), name, day


@lru_cache(maxsize=8)
def _working_days(start: datetime, days: int) -> tuple[int, ...]:
    return tuple(day for day in range(days) if (start + timedelta(days=day)).weekday() < 6)


def _campaign(
    plan: ShopPlan, seed: int, line: LinePlan, day: int, month: int, shift: str
) -> tuple[RecipePlan, str, float]:
    """Recipe and coil are those of the line's shift: the same for every seam of it."""
    number = 2 * day + [name for name, _ in _SHIFTS].index(shift)
    key = (_COILS, plan.lines.index(line), number)
    rng = np.random.default_rng(np.random.SeedSequence(seed, spawn_key=key))
    known = [recipe for recipe in plan.recipes if recipe.first_month <= month]
    weights = np.array([recipe.weight for recipe in known])
    recipe = known[int(rng.choice(len(known), p=weights / weights.sum()))]
    coil = f"C{line.name[-1]}{number:03d}-{rng.integers(1000, 9999)}"
    steel = plan.nuisances.coil_attenuation
    return recipe, coil, 0.0 if steel is None else float(steel.sd_db_per_mm * rng.standard_normal())


def _draw_flaws(
    plan: ShopPlan, line: LinePlan, recipe: RecipePlan, month: int, length_mm: float, rng: np.random.Generator
) -> list[HiddenFlaw]:
    placed: list[HiddenFlaw] = []
    for label, rate in plan.flaws_per_seam.items():
        mean = rate * plan.month_factors[label][month]
        if label is Flaw.LACK_OF_FUSION:
            mean *= line.lack_of_fusion_factor
        for _ in range(rng.poisson(mean)):
            flaw = _somewhere(draw_flaw(label, recipe.joint, rng), length_mm, rng)
            if any(flaw.start_mm < other.end_mm and other.start_mm < flaw.end_mm for other in placed):
                continue
            placed.append(flaw)
            if rng.random() < plan.close_second_share:
                placed += _beside(plan, flaw, recipe, length_mm, rng)
    return placed


def _beside(
    plan: ShopPlan, flaw: HiddenFlaw, recipe: RecipePlan, length_mm: float, rng: np.random.Generator
) -> list[HiddenFlaw]:
    """Draw a second flaw close to a first: what goes wrong rarely goes wrong once."""
    labels = [label for label in plan.flaws_per_seam if label is not Flaw.MISMATCH]
    second = draw_flaw(labels[int(rng.integers(len(labels)))], recipe.joint, rng)
    second = second.placed(flaw.end_mm + rng.uniform(3, 25) - second.start_mm)
    return [second] if second.end_mm < length_mm - _CLEAR_OF_ENDS_MM else []


def _draw_events(
    plan: ShopPlan,
    line: LinePlan,
    recipe: RecipePlan,
    day: int,
    shift: str,
    length_mm: float,
    usual: list[HiddenFlaw],
    rng: np.random.Generator,
) -> list[HiddenFlaw]:
    """Draw what incidents and fixtures add, where nothing is yet; from a seed of its own."""
    drawn = [
        _somewhere(draw_flaw(one.flaw, recipe.joint, rng), length_mm, rng)
        for one in plan.incidents
        if one.met_by(line.name, day, shift)
        for _ in range(rng.poisson(one.flaws_per_seam))
    ]
    for mark in plan.marks:
        if mark.met_by(line.name, day) and rng.random() < mark.share:
            at = mark.position_mm + mark.spread_mm * float(rng.standard_normal())
            drawn.append(draw_flaw(mark.flaw, recipe.joint, rng).placed(at))
    placed: list[HiddenFlaw] = []
    for flaw in drawn:
        if not any(flaw.start_mm < o.end_mm and o.start_mm < flaw.end_mm for o in (*usual, *placed)):
            placed.append(flaw)
    return placed


def _draw_false(
    plan: ShopPlan, length_mm: float, rng: np.random.Generator
) -> tuple[tuple[Bounce, ...], tuple[Stretch, ...], list[HiddenFlaw]]:
    """Draw what looks like a flaw and is none: droplets, bounces of the head, restless bead."""
    spatter, bounce, rough = (
        plan.nuisances.spatter,
        plan.nuisances.lift_off_bounce,
        plan.nuisances.rough_stretch,
    )
    false: list[HiddenFlaw] = []
    bounces: list[Bounce] = []
    stretches: list[Stretch] = []
    if spatter is not None:
        for _ in range(rng.poisson(spatter.per_seam)):
            false.append(_somewhere(draw_spatter(spatter, rng), length_mm, rng))
    if bounce is not None:
        for _ in range(rng.poisson(bounce.per_seam)):
            reach = rng.uniform(*bounce.length_mm)
            where = _somewhere(_no_echo("lift_off", reach), length_mm, rng)
            bounces.append(Bounce(where.start_mm + reach / 2, reach, rng.uniform(*bounce.closer_mm)))
            false.append(where)
    if rough is not None:
        for _ in range(rng.poisson(rough.per_seam)):
            reach = rng.uniform(*rough.length_mm)
            where = _somewhere(_no_echo("rough_bead", reach), length_mm, rng)
            stretches.append(Stretch(where.start_mm + reach / 2, reach, rng.uniform(*rough.times)))
            false.append(where)
    return tuple(bounces), tuple(stretches), false


def _no_echo(cause: str, length_mm: float) -> HiddenFlaw:
    return HiddenFlaw(Flaw.SOUND, cause, -length_mm / 2, length_mm / 2, Side.NA, 0.0, 0.0)


def _somewhere(flaw: HiddenFlaw, length_mm: float, rng: np.random.Generator) -> HiddenFlaw:
    low = _CLEAR_OF_ENDS_MM - flaw.start_mm
    high = max(length_mm - _CLEAR_OF_ENDS_MM - flaw.end_mm, low)
    return flaw.placed(float(rng.uniform(low, high)))
