"""Simulated flaws in the shop's own sound seams, described: what the physics teaches.

The engineer's side of the experiment: nominal head, nominal gain, expected ranges. From
the shop come the recorded sound seams alone. What is deliberately wrong in a variant is
stated in `PHYSICS`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from itertools import islice

import numpy as np

from learning.rows import Rows
from seamtell.data_synth.expected_flaws import ExpectedFlaw, draw_expected_flaw
from seamtell.data_synth.expected_ranges import EdgeNotchRange, FlawRanges, LackOfFusionRange
from seamtell.data_synth.head import Head, Joint
from seamtell.data_synth.implanting import host_setting, implant
from seamtell.data_synth.shop import invent_seam
from seamtell.data_synth.shop_plan import ShopPlan
from seamtell.features.contracts import Channel, Flaw, Indication, RecipeLimits
from seamtell.features.describer import SeamAnalysis, analyse_seam, describe_seam
from seamtell.features.descriptors.registry import model_names, names

__all__ = ["PHYSICS", "PhysicsPart", "PhysicsVariant", "physics_rows"]

_CLEAR_MM = 25.0
_HOSTS = 60
"""Sound seams a part takes in turn."""


@dataclass(frozen=True)
class PhysicsVariant:
    """What the engineer believes of head, gain and flaws."""

    head: Head = field(default_factory=Head)
    scatter_gain_db: float = 0.0
    ranges: FlawRanges = field(default_factory=FlawRanges)


PHYSICS: Mapping[str, PhysicsVariant] = {
    "nominal": PhysicsVariant(),
    # Aperture and stand-off shrink together, so that the whole beam keeps its form, 0.6 as wide.
    "beam 40 % too narrow": PhysicsVariant(
        head=replace(
            Head(), aperture_sd_mm=0.6 * Head().aperture_sd_mm, stand_off_mm=0.36 * Head().stand_off_mm
        )
    ),
    "scatter 6 dB too loud": PhysicsVariant(scatter_gain_db=6.0),
    "only deep flaws": PhysicsVariant(
        ranges=FlawRanges(
            edge_notch=EdgeNotchRange(depth_share=(0.55, 0.8)),
            lack_of_fusion=LackOfFusionRange(depth_share=(0.7, 1.0)),
        )
    ),
    "no lack of fusion": PhysicsVariant(ranges=FlawRanges(lack_of_fusion=None)),
}


@dataclass(frozen=True)
class PhysicsPart:
    """What one process simulates: flaws `part`, `part + parts`, … of `per_class` a class and recipe."""

    plan: ShopPlan
    variant: PhysicsVariant
    seed: int
    per_class: int
    part: int
    parts: int


@dataclass(frozen=True, eq=False)
class _Host:
    analysis: SeamAnalysis
    joint: Joint
    limits: RecipeLimits


def physics_rows(part: PhysicsPart) -> Rows:
    """Rows of all flaws that raise an indication; those that raise none are left out."""
    columns = [names().index(name) for name in model_names()]
    kept: list[tuple[np.ndarray, ExpectedFlaw, _Host]] = []
    for recipe in part.plan.recipes:
        hosts = _sound_hosts(part, recipe.name)
        for label in part.variant.ranges.labels:
            for number in range(part.part, part.per_class, part.parts):
                found = _one(part, hosts[number // part.parts % len(hosts)], label, number)
                if found is not None:
                    kept.append((found[0][columns], found[1], hosts[number // part.parts % len(hosts)]))
    return _as_rows(kept)


def _sound_hosts(part: PhysicsPart, recipe: str) -> list[_Host]:
    """Seams of a recipe on which nothing is indicated."""
    plan = replace(
        part.plan,
        recipes=tuple(replace(r, first_month=0) for r in part.plan.recipes if r.name == recipe),
        flaws_per_seam=dict.fromkeys(part.plan.flaws_per_seam, 0.0),
    )
    limits, sheets = plan.recipes[0].limits(), plan.recipes[0].joint
    # The engineer knows the sheets, not the shape of the ramp between them.
    joint = Joint(sheets.sheet_a_mm, sheets.sheet_b_mm)
    wanted = max(1, min(_HOSTS, part.per_class // part.parts))
    count = 4 * wanted * part.parts
    seams = (invent_seam(plan, part.seed, n, count) for n in range(part.part, count, part.parts))
    analyses = (analyse_seam(seam.trace, limits) for seam in seams)
    sound = (one for one in analyses if not one.indications)
    return [_Host(one, joint, limits) for one in islice(sound, wanted)]


def _one(part: PhysicsPart, host: _Host, label: Flaw, number: int) -> tuple[np.ndarray, ExpectedFlaw] | None:
    """Implant one flaw and describe the indication it raises; None when it raises none."""
    key = (1, list(Flaw).index(label), number, round(1000 * host.joint.mean_mm))
    rng = np.random.default_rng(np.random.SeedSequence(part.seed, spawn_key=key))
    trace, limits = host.analysis.trace, host.limits
    flaw = draw_expected_flaw(label, host.joint, rng, part.variant.ranges)
    low = trace.start_mm + limits.dead_zone_start_mm + _CLEAR_MM - flaw.start_mm
    high = trace.end_mm - limits.dead_zone_end_mm - _CLEAR_MM - flaw.end_mm
    if high <= low:
        return None
    flaw = flaw.placed(float(rng.uniform(low, high)))
    gain = {Channel.SPECULAR: 0.0, Channel.SCATTER: part.variant.scatter_gain_db}
    level = float(np.median(host.analysis.baseline_pct["specular"]))
    setting = host_setting(host.joint, part.variant.head, gain, level)
    channels = implant(
        trace.amplitudes_pct, trace.positions_mm(), (flaw,), setting, limits.beam_width_mm, rng
    )
    analysis = analyse_seam(replace(trace, amplitudes_pct=channels), limits)
    overlaps = [_overlap_mm(flaw, indication) for indication in analysis.indications]
    if max(overlaps, default=-1.0) < 0.0:
        return None
    return describe_seam(analysis)[int(np.argmax(overlaps))], flaw


def _overlap_mm(flaw: ExpectedFlaw, indication: Indication) -> float:
    return min(flaw.end_mm, indication.end_mm) - max(flaw.start_mm, indication.start_mm)


def _as_rows(kept: list[tuple[np.ndarray, ExpectedFlaw, _Host]]) -> Rows:
    labels = np.array([flaw.label.value for _, flaw, _ in kept], dtype=str)
    sound = labels == Flaw.SOUND.value
    return Rows(
        values=np.array([values for values, _, _ in kept]),
        labels=labels,
        hidden=labels,
        sizes_mm=np.where(sound, np.nan, [flaw.length_mm for _, flaw, _ in kept]),
        depth_share=np.where(sound, np.nan, [flaw.depth_mm / host.joint.mean_mm for _, flaw, host in kept]),
        groups=np.array([f"coil:{host.analysis.trace.coil}" for _, _, host in kept], dtype=str),
        recipes=np.array([host.limits.recipe for _, _, host in kept], dtype=str),
    )
