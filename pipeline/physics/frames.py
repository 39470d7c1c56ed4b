"""Frames of seams that are simulated as a whole: length, pitch, line and recipe as production has them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime

import numpy as np
import pandas as pd

from seamtell.data_synth.head import Joint
from seamtell.features.contracts import CHANNELS, SeamTrace
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.limits_file import Limits
from seamtell.pipeline.physics.hosts import Host, judged_extent

__all__ = ["frames"]

_LENGTH_MM = (300.0, 600.0)
_PITCH_MM = 0.5
_WELDED_AT = datetime(2000, 1, 1, tzinfo=UTC)
"""A frame was never welded; the field has to hold something."""


def frames(
    seams: pd.DataFrame,
    recipes: Mapping[str, Joint],
    lines: Sequence[str],
    limits: Limits,
    n: int,
    rng: np.random.Generator,
) -> list[Host]:
    """Make `n` frames: like seams of the store drawn at random, or of every line and recipe when it is empty.

    Parameters
    ----------
    seams : DataFrame
        Metadata of stored seams of `recipes` and `lines`; may be empty.

    Raises
    ------
    BadInput
        Every seam is shorter than its dead zones.
    """
    made = [_frame(i, seams, recipes, lines, limits, rng) for i in range(n)]
    usable = [host for host in made if host.stretches[0][1] > host.stretches[0][0]]
    if not usable:
        raise BadInput(
            "no seam is longer than its two dead zones", where=str(limits.path), do="mend the dead zones"
        )
    return usable


def _frame(
    number: int,
    seams: pd.DataFrame,
    recipes: Mapping[str, Joint],
    lines: Sequence[str],
    limits: Limits,
    rng: np.random.Generator,
) -> Host:
    if len(seams):
        like = seams.iloc[int(rng.integers(len(seams)))]
        line, recipe = str(like["line"]), str(like["recipe"])
        pitch, n_samples = float(like["pitch_mm"]), int(like["n_samples"])
    else:
        line, recipe = lines[int(rng.integers(len(lines)))], sorted(recipes)[int(rng.integers(len(recipes)))]
        pitch, n_samples = _PITCH_MM, int(rng.uniform(*_LENGTH_MM) / _PITCH_MM) + 1
    joint, seam_id = recipes[recipe], f"sim-{number:06d}"
    trace = SeamTrace(
        seam_id,
        _WELDED_AT,
        line,
        recipe,
        0.0,
        pitch,
        {name: np.zeros(n_samples, np.float32) for name in CHANNELS},
        thickness_a_mm=joint.sheet_a_mm,
        thickness_b_mm=joint.sheet_b_mm,
    )
    of_recipe = limits.for_recipe(recipe)
    return Host(trace, of_recipe, (judged_extent(trace, of_recipe),), (), float("nan"), seam_id)
