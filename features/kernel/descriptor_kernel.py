"""All descriptors of one indication: the compiled twin of ``features.descriptors``."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from seamtell.features.kernel.compiling import compiled, larger
from seamtell.features.kernel.descriptor_channel import describe_channel
from seamtell.features.kernel.descriptor_cross import describe_both, describe_extent, describe_likeness
from seamtell.features.kernel.descriptor_profile import Grid, profile_facts
from seamtell.features.kernel.descriptor_sums import sum_of

__all__ = ["describe_indication"]

Array = NDArray[np.float64]
Samples = NDArray[np.float32]


@compiled
def describe_indication(
    es: Array,
    ec: Array,
    raw_s: Samples,
    raw_c: Samples,
    base_s: Array,
    base_c: Array,
    first: int,
    last: int,
    begin: int,
    end: int,
    noise_s: float,
    noise_c: float,
    limit_s: float,
    limit_c: float,
    start_mm: float,
    pitch_mm: float,
    beam_mm: float,
    n: int,
    starts_mm: Array,
    ends_mm: Array,
    which: int,
    thickness_a_mm: float,
    thickness_b_mm: float,
    scratch: Array,
    out: Array,
) -> None:
    """Write one row.

    Parameters
    ----------
    es, ec : float64 arrays of shape (n,)
        Smoothed excursions of specular and scatter, filled from `first` to `last`.
    raw_s, raw_c : float32 arrays of shape (n,)
    base_s, base_c : float64 arrays of shape (n,)
    first, last, begin, end : int
        Window and extent in samples, all inside.
    noise_s, noise_c, limit_s, limit_c, start_mm, pitch_mm, beam_mm : float
    n : int
        Samples of the seam.
    starts_mm, ends_mm : float64 arrays of shape (m,)
        Of all indications of the seam.
    which : int
        Number of this one.
    thickness_a_mm, thickness_b_mm : float
    scratch : float64 array of at least 8 n + 384
    out : float64 array of shape (n_descriptors,)
        In the order of the registry.
    """
    # The window's own step, with the rounding of positions in it, as the specification takes it.
    step_mm = (start_mm + pitch_mm * (first + 1)) - (start_mm + pitch_mm * first) if last > first else beam_mm
    grid = Grid(first, last, begin, end, start_mm, pitch_mm, step_mm)
    count = end - begin + 1
    level_s, level_c = sum_of(base_s, begin, count) / count, sum_of(base_c, begin, count) / count
    specular_level = larger(level_s, noise_s)
    facts_s = profile_facts(es, grid, noise_s, scratch)
    facts_c = profile_facts(ec, grid, noise_c, scratch)
    left, right = describe_channel(
        es, raw_s, grid, facts_s, noise_s, limit_s, level_s, specular_level, beam_mm, out
    )
    c_left, c_right = describe_channel(
        ec, raw_c, grid, facts_c, noise_c, limit_c, level_c, specular_level, beam_mm, out[1:]
    )
    describe_both(
        facts_s,
        facts_c,
        ec,
        grid,
        specular_level,
        noise_c,
        left,
        right,
        c_right - c_left,
        beam_mm,
        out,
    )
    describe_likeness(es, ec, grid, level_c / specular_level, beam_mm, scratch, out)
    describe_extent(starts_mm, ends_mm, which, grid, n, beam_mm, thickness_a_mm, thickness_b_mm, out)
