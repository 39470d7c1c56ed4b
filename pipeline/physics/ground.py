"""Everything that is read before the first flaw is simulated: heads, joints, and seams that take flaws."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
import pandas as pd

from seamtell.data_synth.head import Joint
from seamtell.data_synth.validity import check_head, check_joint
from seamtell.pipeline.describe import batches
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.limits_file import Limits, read_limits
from seamtell.pipeline.physics.frames import frames
from seamtell.pipeline.physics.hosts import (
    Host,
    Survey,
    found_flaws,
    left_out,
    survey_hosts,
    usable_lines,
    usable_recipes,
)
from seamtell.pipeline.physics.physics_file import Physics, read_physics
from seamtell.pipeline.physics.reference_fit import FittedHead, fitted_head
from seamtell.pipeline.settings import Settings, indication_settings, read_settings
from seamtell.pipeline.store.seam_store import SeamStore
from seamtell.pipeline.store.sections import read_sections
from seamtell.pipeline.workspace import Workspace

__all__ = ["Ground", "InParallel", "read_ground", "take_hosts"]

InParallel = Callable[[Callable[[Any], Any], Iterable[Any]], Iterable[Any]]
"""A `map` that keeps the order, with one process or several."""

_MOST_HOSTS = 4000
"""Recorded seams in memory at once; more flaws than they can take use them again."""
_SPARE_SHARE = 1.3
"""Looked at over what is needed: some seams have no sound stretch."""
_BATCH_SEAMS = 32


@dataclass(frozen=True, eq=False)
class Ground:
    """Physics, limits and settings of a workspace, checked against one another.

    Parameters
    ----------
    seams : DataFrame
        Metadata of the stored seams that may take flaws.
    joints, heads : mapping
        Of the usable recipes and lines.
    left_out : dict of str to str
        Recipes and lines of the store that take no flaws, and why.
    """

    ws: Workspace
    physics: Physics
    limits: Limits
    settings: Settings
    seams: pd.DataFrame
    joints: dict[str, Joint]
    heads: dict[str, FittedHead]
    left_out: dict[str, str]


def read_ground(ws: Workspace) -> Ground:
    """Read and check; no trace is read yet.

    Raises
    ------
    BadInput
        No physics file or limits, or none that fit together.
    SeamtellError
        A head or a joint lies outside the theory's range.
    """
    physics, limits = read_physics(ws.physics_path), read_limits(ws.limits_path)
    joints = usable_recipes(ws, physics, limits)
    store = SeamStore(ws.traces_dir)
    seams = store.metadata()
    stored = tuple(sorted(set(seams["line"].astype(str))))
    lines = usable_lines(physics, stored or tuple(sorted(physics.heads)))
    heads = {line: fitted_head(ws, physics, line) for line in lines}
    for head in heads.values():
        check_head(head.head)
        for joint in joints.values():
            check_joint(joint, head.head)
    why = left_out(seams, physics, joints, lines)
    usable = seams["recipe"].astype(str).isin(joints) & seams["line"].astype(str).isin(lines)
    usable &= ~seams["seam_id"].isin(store.conflicts())
    return Ground(ws, physics, limits, read_settings(ws.settings_path), seams[usable], joints, heads, why)


def take_hosts(
    ground: Ground, n: int, rng: np.random.Generator, in_parallel: InParallel, *, recorded: bool
) -> list[Host]:
    """About `n` seams that take flaws, in random order, so in proportion to what production holds.

    Raises
    ------
    BadInput
        No recorded seam has a sound stretch, or a trace disagrees with the physics file.
    """
    if not recorded:
        return frames(ground.seams, ground.joints, tuple(ground.heads), ground.limits, n, rng)
    wanted = min(int(n * _SPARE_SHARE) + 8, _MOST_HOSTS, len(ground.seams))
    ids = ground.seams["seam_id"].astype(str).to_numpy()
    chosen = [str(seam) for seam in rng.permutation(ids)[:wanted]]
    place = {seam: i for i, seam in enumerate(chosen)}
    hosts = sorted(_surveyed(ground, chosen, in_parallel), key=lambda host: place[host.trace.seam_id])
    if not hosts:
        seen = (
            f"of {wanted} seams with a joint and a head none"
            if wanted
            else "no stored seam has both, so none"
        )
        raise BadInput(
            f"{seen} has a stretch without indication that is long enough to take a flaw",
            where=str(ground.ws.root),
            do="ingest seams of a recipe with a joint, or say --simulated",
        )
    return hosts[:n]


def _surveyed(ground: Ground, chosen: list[str], in_parallel: InParallel) -> list[Host]:
    if not chosen:
        return []
    survey = Survey(
        {name: ground.limits.for_recipe(name) for name in ground.joints},
        indication_settings(ground.settings.describe),
        found_flaws(read_sections(ground.ws)),
    )
    traces = []
    for trace in SeamStore(ground.ws.traces_dir).iter_traces(chosen):
        ground.physics.check_agrees(trace)
        traces.append(trace)
    looked = in_parallel(partial(survey_hosts, survey=survey), batches(traces, _BATCH_SEAMS))
    return [host for hosts in looked for host in hosts]
