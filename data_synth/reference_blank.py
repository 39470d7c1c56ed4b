"""The reference blank of the invented shop, and its runs under each line's head.

A welded blank of the first recipe with flaws machined into it, which an operator lays
under the head: a few times to fit the head, and every week to check it. What the machinist
made is not quite what the drawing says; where the blank lies differs from run to run. Runs
draw from seeds of their own, and their recipe is the blank's name, which has no limits: no
ingest takes them for production.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import timedelta

import numpy as np

from seamtell.data_synth.flaws import FlawGeometry, Hole, Slot, moved
from seamtell.data_synth.recording import record
from seamtell.data_synth.shop_plan import LinePlan, ShopPlan
from seamtell.features.contracts import SeamTrace, Side

__all__ = [
    "BLANK_LENGTH_MM",
    "RUNS_PER_LINE",
    "blank_text",
    "physics_text",
    "reference_runs",
    "weekly_checks",
]

RUNS_PER_LINE = 5
BLANK_NAME = "MB-REF-1"
BLANK_LENGTH_MM = 440.0

_SEED_BRANCH = 2
_CHECK_BRANCH = 5
_LAID_WITHIN_MM = 1.5
_CUT_WITHIN_MM = 0.15
_DRAWN: tuple[Hole | Slot, ...] = (
    Hole(65.0, 0.8),
    Hole(130.0, 1.5),
    Slot.even(200.0, 5.0, 0.6, 0.3, Side.TOP),
    Slot.even(285.0, 20.0, 0.8, 0.3, Side.BOTTOM),
    Hole(370.0, 1.2),
)


def reference_runs(plan: ShopPlan, seed: int, runs_per_line: int = RUNS_PER_LINE) -> Iterator[SeamTrace]:
    """Run the blank under each line's head, at even distances over the shop's months.

    Yields
    ------
    SeamTrace
        By line, then by time; wear and the exchange of the head are in it.
    """
    made = _made(seed)
    for number, line in enumerate(plan.lines):
        for run in range(runs_per_line):
            own = np.random.SeedSequence(seed, spawn_key=(_SEED_BRANCH, number, run))
            day = (2 * run + 1) * plan.days / (2 * runs_per_line)
            yield _run(plan, line, day, f"REF-{line.name}-{run + 1:02d}", made, own)


def weekly_checks(plan: ShopPlan, seed: int) -> Iterator[SeamTrace]:
    """Run the same blank again in every week of the shop's life, for checks of the head.

    Yields
    ------
    SeamTrace
        By line, then by time.
    """
    made = _made(seed)
    for number, line in enumerate(plan.lines):
        for week in range(plan.days // 7):
            own = np.random.SeedSequence(seed, spawn_key=(_CHECK_BRANCH, number, week))
            yield _run(plan, line, 7.0 * week, f"CHECK-{line.name}-{week + 1:02d}", made, own)


def _made(seed: int) -> list[FlawGeometry]:
    """What the machinist made of the drawing."""
    machinist = np.random.default_rng(np.random.SeedSequence(seed, spawn_key=(_SEED_BRANCH,)))
    return [moved(flaw, float(machinist.uniform(-_CUT_WITHIN_MM, _CUT_WITHIN_MM))) for flaw in _DRAWN]


def _run(
    plan: ShopPlan,
    line: LinePlan,
    day: float,
    name: str,
    made: Sequence[FlawGeometry],
    seed: np.random.SeedSequence,
) -> SeamTrace:
    laying, recording = seed.spawn(2)
    offset = float(np.random.default_rng(laying).uniform(-_LAID_WITHIN_MM, _LAID_WITHIN_MM))
    joint = plan.recipes[0].joint
    amplitudes = record(
        [moved(flaw, offset) for flaw in made],
        joint,
        line.head_after(day / 7),
        plan.nuisances,
        recording,
        n_samples=round(BLANK_LENGTH_MM / line.pitch_mm) + 1,
        pitch_mm=line.pitch_mm,
        gain_db=line.gain_after(day / 7),
    )
    return SeamTrace(
        name,
        plan.start + timedelta(days=int(day), hours=5),
        line.name,
        BLANK_NAME,
        0.0,
        line.pitch_mm,
        amplitudes,
        thickness_a_mm=joint.sheet_a_mm,
        thickness_b_mm=joint.sheet_b_mm,
    )


def blank_text(plan: ShopPlan) -> str:
    """Write the drawing of the blank as TOML."""
    lines = [
        "# Reference blank of an invented shop: a sound welded blank with flaws machined into it.",
        "schema_version = 1",
        f'name = "{BLANK_NAME}"',
        f'recipe = "{plan.recipes[0].name}"',
        f"length_mm = {BLANK_LENGTH_MM}",
        "# How far a run may lie beside the positions below, mm.",
        "position_tolerance_mm = 2.0",
    ]
    for flaw in _DRAWN:
        lines += ["", "[[flaw]]", f"position_mm = {flaw.x_mm}"]
        if isinstance(flaw, Hole):
            lines += ['type = "hole"', f"diameter_mm = {flaw.diameter_mm}"]
        else:
            depth = max(depth for _, depth in flaw.depth_points_mm)
            lines += ['type = "notch"', f'side = "{flaw.side.value}"', f"length_mm = {flaw.length_mm}"]
            lines += [f"depth_mm = {depth}", f"width_mm = {flaw.width_mm}"]
    return "\n".join(lines) + "\n"


def physics_text(plan: ShopPlan) -> str:
    """Write what the shop knows of its heads and sheets as TOML: drawing and data sheet, round numbers.

    They are not those that the shop is simulated with; finding the difference is what the
    reference blank is for.
    """
    lines = [
        "# Heads and sheets of an invented shop, from drawing and data sheet.",
        "schema_version = 1",
        "",
        "[head.default]",
        "frequency_mhz = 0.6",
        "aperture_sd_mm = 5.0",
        "stand_off_mm = 15.0",
        "scatter_tilt_sin = 0.4",
    ]
    for recipe in plan.recipes:
        lines += [
            "",
            f'[recipe."{recipe.name}"]',
            f"sheet_a_mm = {recipe.joint.sheet_a_mm:.1f}",
            f"sheet_b_mm = {recipe.joint.sheet_b_mm:.1f}",
            "ramp_mm = 0.5",
        ]
    return "\n".join(lines) + "\n"
