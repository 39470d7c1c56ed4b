"""Seams that can take simulated flaws: recorded ones with sound stretches, or frames for simulated ones."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from seamtell.data_synth.head import Joint
from seamtell.features.contracts import Channel, Flaw, RecipeLimits, SeamTrace
from seamtell.features.describer import analyse_seam
from seamtell.features.indications import IndicationSettings
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.limits_file import Limits
from seamtell.pipeline.physics.physics_file import Physics
from seamtell.pipeline.physics.rooms import CLEAR_BEAMS, Room, free_stretches
from seamtell.pipeline.workspace import Workspace

__all__ = ["Host", "Survey", "found_flaws", "left_out", "survey_hosts", "usable_lines", "usable_recipes"]

Extent = tuple[float, float]


@dataclass(frozen=True, eq=False)
class Host:
    """One seam that can take flaws.

    Parameters
    ----------
    trace : SeamTrace
    limits : RecipeLimits
    stretches, known : tuple of (start_mm, end_mm)
        Where flaws may lie; indications that are there already.
    specular_level_pct : float
        Baseline of the sound seam; NaN for a frame without a recording.
    group : str
        Coil, or seam where no coil is known, named as sections name theirs.
    """

    trace: SeamTrace
    limits: RecipeLimits
    stretches: tuple[Extent, ...]
    known: tuple[Extent, ...]
    specular_level_pct: float
    group: str

    def room(self) -> Room:
        """Make an empty room of it."""
        length = self.trace.end_mm - self.trace.start_mm
        return Room(self.stretches, length, self.limits.beam_width_mm)


@dataclass(frozen=True, eq=False)
class Survey:
    """What a worker needs to look a batch of recorded seams over.

    Parameters
    ----------
    flaws : mapping of seam id to tuple of (start_mm, end_mm)
        What sections found there, tolerance included.
    """

    limits: Mapping[str, RecipeLimits]
    settings: IndicationSettings
    flaws: Mapping[str, tuple[Extent, ...]]


def survey_hosts(traces: Sequence[SeamTrace], survey: Survey) -> list[Host]:
    """Hosts among recorded seams; those without any free stretch are left away."""
    hosts = []
    for trace in traces:
        limits = survey.limits[trace.recipe]
        analysis = analyse_seam(trace, limits, survey.settings)
        known = tuple((one.start_mm, one.end_mm) for one in analysis.indications)
        taken = (*known, *survey.flaws.get(trace.seam_id, ()))
        judged = judged_extent(trace, limits)
        stretches = free_stretches(judged, taken, CLEAR_BEAMS * limits.beam_width_mm)
        if stretches:
            baseline = analysis.baseline_pct[Channel.SPECULAR]
            at = trace.positions_mm()
            inside = np.any([(at >= start) & (at <= end) for start, end in stretches], axis=0)
            if inside.any():
                level = float(np.median(baseline[inside]))
                hosts.append(Host(trace, limits, stretches, known, level, group_of(trace)))
    return hosts


def judged_extent(trace: SeamTrace, limits: RecipeLimits) -> Extent:
    """First and last position outside the dead zones."""
    return trace.start_mm + limits.dead_zone_start_mm, trace.end_mm - limits.dead_zone_end_mm


def group_of(trace: SeamTrace) -> str:
    """Name the coil, or the seam where no coil is known, as the matching of sections does."""
    return f"coil:{trace.coil}" if trace.coil else f"seam:{trace.seam_id}"


def found_flaws(sections: pd.DataFrame) -> dict[str, tuple[Extent, ...]]:
    """Where sections found a flaw, by seam: position and tolerance, and half the length where it is known."""
    found: dict[str, tuple[Extent, ...]] = {}
    flawed = sections[sections["flaw"].astype(str) != Flaw.SOUND.value]
    lengths = pd.to_numeric(flawed["length_mm"]).fillna(0.0)
    reach = flawed["position_tol_mm"].astype(float) + lengths / 2
    for seam, at, half in zip(flawed["seam_id"], flawed["position_mm"], reach, strict=True):
        extent = (float(at - half), float(at + half))
        found[str(seam)] = (*found.get(str(seam), ()), extent)
    return found


def usable_recipes(ws: Workspace, physics: Physics, limits: Limits) -> dict[str, Joint]:
    """Recipes that have both a joint and limits.

    Raises
    ------
    BadInput
        There is none.
    """
    usable = {name: joint for name, joint in physics.joints.items() if limits.get(name) is not None}
    if not usable:
        named = ", ".join(sorted(physics.joints)) or "none"
        raise BadInput(
            f"no recipe has both a joint here (there are: {named}) and limits in {ws.limits_path.name}",
            where=str(ws.physics_path),
            do='describe the sheets of each recipe in a table [recipe."NAME"]',
        )
    return usable


def usable_lines(physics: Physics, lines: Sequence[str]) -> tuple[str, ...]:
    """Those of `lines` that the physics file has a head for, its own or the default one.

    Raises
    ------
    BadInput
        There is none; the message is that of the first line.
    """
    usable, problems = [], []
    for line in lines:
        try:
            physics.head_for(line)
        except BadInput as problem:
            problems.append(problem)
        else:
            usable.append(line)
    if problems and not usable:
        raise problems[0]
    return tuple(usable)


def left_out(
    seams: pd.DataFrame, physics: Physics, recipes: Mapping[str, Joint], lines: Sequence[str]
) -> dict[str, str]:
    """Recipes and lines of the store that take no flaws, and why."""
    why = {}
    for recipe in sorted(set(seams["recipe"].astype(str)) - set(recipes)):
        why[f"recipe {recipe}"] = "no limits" if recipe in physics.joints else "no joint in the physics file"
    for line in sorted(set(seams["line"].astype(str)) - set(lines)):
        why[f"line {line}"] = "no head in the physics file"
    return why
