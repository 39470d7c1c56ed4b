"""Many seams at once, as columns: what the compiled kernels read."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seamtell.features.contracts import CHANNELS, RecipeLimits, SeamTrace

__all__ = ["LimitTable", "TraceBatch"]


@dataclass(frozen=True, eq=False)
class TraceBatch:
    """Amplitudes and grids of n seams with C channels; nothing is copied out of the store's buffers.

    Parameters
    ----------
    channels : tuple of str, length C
        ``CHANNELS`` first, further ones by name.
    values : tuple of float32 arrays, length C
        All amplitudes of one channel, % FSH, seam behind seam.
    starts, counts : int64 arrays of shape (n, C)
        First sample of a seam in ``values[c]``, and number of its samples; -1 and 0 where
        the seam lacks the channel.
    start_mm, pitch_mm, thickness_a_mm, thickness_b_mm : float64 arrays of shape (n,)
        Thicknesses are NaN when unknown.
    recipes : tuple of str
        Every recipe that occurs.
    recipe : int32 array of shape (n,)
        Index into `recipes`.
    """

    channels: tuple[str, ...]
    values: tuple[NDArray[np.float32], ...]
    starts: NDArray[np.int64]
    counts: NDArray[np.int64]
    start_mm: NDArray[np.float64]
    pitch_mm: NDArray[np.float64]
    thickness_a_mm: NDArray[np.float64]
    thickness_b_mm: NDArray[np.float64]
    recipes: tuple[str, ...]
    recipe: NDArray[np.int32]

    def __len__(self) -> int:
        return len(self.recipe)

    @property
    def whole(self) -> NDArray[np.bool_]:
        """Whether a seam has samples of a channel, all of them in the buffer; shape (n, C)."""
        sizes = np.array([len(values) for values in self.values], dtype=np.int64)
        return np.asarray((self.starts >= 0) & (self.counts > 0) & (self.starts + self.counts <= sizes))

    @classmethod
    def of_traces(cls, traces: Sequence[SeamTrace]) -> TraceBatch:
        """Gather seams that are in memory one by one; copies their amplitudes."""
        further = sorted({name for trace in traces for name in trace.amplitudes_pct} - set(CHANNELS))
        channels = (*CHANNELS, *further)
        n = len(traces)
        starts, counts = np.full((n, len(channels)), -1, np.int64), np.zeros((n, len(channels)), np.int64)
        values = []
        for c, name in enumerate(channels):
            parts, total = [], 0
            for i, trace in enumerate(traces):
                if name in trace.amplitudes_pct:
                    part = np.asarray(trace.amplitudes_pct[name], dtype=np.float32)
                    starts[i, c], counts[i, c] = total, len(part)
                    parts.append(part)
                    total += len(part)
            values.append(np.concatenate(parts) if parts else np.zeros(0, np.float32))
        recipes = tuple(dict.fromkeys(trace.recipe for trace in traces))
        return cls(
            channels=channels,
            values=tuple(values),
            starts=starts,
            counts=counts,
            start_mm=np.array([trace.start_mm for trace in traces], dtype=np.float64),
            pitch_mm=np.array([trace.pitch_mm for trace in traces], dtype=np.float64),
            thickness_a_mm=np.array([trace.thickness_a_mm for trace in traces], dtype=np.float64),
            thickness_b_mm=np.array([trace.thickness_b_mm for trace in traces], dtype=np.float64),
            recipes=recipes,
            recipe=np.array([recipes.index(trace.recipe) for trace in traces], dtype=np.int32),
        )


@dataclass(frozen=True, eq=False)
class LimitTable:
    """Limits of R recipes as columns, in the order of a batch's recipes and channels.

    Parameters
    ----------
    known : bool array of shape (R,)
        Whether the procedure states anything for the recipe.
    stated : bool array of shape (R, C)
        Whether it states a limit for the channel.
    limit_pct : float64 array of shape (R, C)
        Infinite where no limit is stated.
    dead_zone_start_mm, dead_zone_end_mm, beam_width_mm : float64 arrays of shape (R,)
        NaN for a recipe that is not known.
    """

    known: NDArray[np.bool_]
    stated: NDArray[np.bool_]
    limit_pct: NDArray[np.float64]
    dead_zone_start_mm: NDArray[np.float64]
    dead_zone_end_mm: NDArray[np.float64]
    beam_width_mm: NDArray[np.float64]

    @classmethod
    def of(
        cls, limits: Mapping[str, RecipeLimits], recipes: Sequence[str], channels: Sequence[str]
    ) -> LimitTable:
        """Lay out the limits of `recipes`; one that `limits` does not hold is not known."""
        rows = [limits.get(recipe) for recipe in recipes]
        shape = (len(rows), len(channels))
        limit_pct, stated = np.full(shape, np.inf), np.zeros(shape, np.bool_)
        lengths = np.full((3, len(rows)), np.nan)
        for r, row in enumerate(rows):
            if row is None:
                continue
            lengths[:, r] = row.dead_zone_start_mm, row.dead_zone_end_mm, row.beam_width_mm
            for c, name in enumerate(channels):
                if name in row.limit_pct:
                    limit_pct[r, c], stated[r, c] = row.limit_pct[name], True
        known = np.array([row is not None for row in rows], dtype=np.bool_)
        return cls(known, stated, limit_pct, *lengths)
