"""Whether the cost grows in step with the load: a straight line in log-log over two decades."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from seamtell.features.contracts import SeamTrace
from seamtell.features.kernel.batch import describe_batch
from seamtell.features.trace_batch import TraceBatch
from seamtell.pipeline.store.row_groups import BATCH_SEAMS
from speed.load import Load
from speed.timing import RUNS

__all__ = ["Growth", "describe_growth", "fitted_growth"]

SEAMS = (100, 316, 1_000, 3_162, 10_000)
SAMPLES = (1_024, 3_238, 10_240, 32_382, 102_400)
_SEAMS_OF_EACH_LENGTH = 50
_SECONDS_A_TURN = 0.05
"""A load that takes less is repeated in each turn."""


@dataclass(frozen=True)
class Growth:
    """Cost against load.

    Parameters
    ----------
    of : str
        What grows.
    sizes : tuple of int
    seconds : tuple of float
        Of a core, on which describing runs alone; the least of several runs, for each size.
    slope : float
        Of log(seconds) over log(size), least squares; 1 is linear.
    excess : float
        How much more (or less) the last size costs than the first one's cost in proportion, along the
        fitted line: ``(sizes[-1] / sizes[0]) ** (slope - 1) - 1``.
    """

    of: str
    sizes: tuple[int, ...]
    seconds: tuple[float, ...]
    slope: float
    excess: float


def fitted_growth(of: str, sizes: Sequence[int], seconds: Sequence[float]) -> Growth:
    """Fit the slope.

    Raises
    ------
    ValueError
        Fewer than two sizes, or something that is not positive.

    Examples
    --------
    >>> fitted_growth("seams", [10, 100, 1000], [0.5, 5.0, 50.0]).slope
    1.0
    """
    x, y = np.asarray(sizes, dtype=np.float64), np.asarray(seconds, dtype=np.float64)
    if len(x) < 2 or x.shape != y.shape or (x <= 0).any() or (y <= 0).any():
        raise ValueError(f"got {len(x)} sizes and {len(y)} times, expected two or more pairs above zero")
    slope = float(np.round(np.polyfit(np.log(x), np.log(y), 1)[0], 6))
    excess = float((x[-1] / x[0]) ** (slope - 1.0) - 1.0)
    return Growth(of, tuple(int(one) for one in sizes), tuple(float(one) for one in seconds), slope, excess)


def describe_growth(load: Load, *, runs: int = RUNS) -> list[Growth]:
    """Time describing over two decades of seams, and of samples in a seam at the same number of seams."""
    # In batches as the stages make them.
    many = [
        [load.batch(min(BATCH_SEAMS, seams - first)) for first in range(0, seams, BATCH_SEAMS)]
        for seams in SEAMS
    ]
    some = load.traces[:_SEAMS_OF_EACH_LENGTH]
    longer = [[TraceBatch.of_traces([_of_length(trace, samples) for trace in some])] for samples in SAMPLES]
    return [
        fitted_growth("seams", SEAMS, _least_seconds(many, load, runs)),
        fitted_growth("samples in a seam", SAMPLES, _least_seconds(longer, load, runs)),
    ]


def _of_length(trace: SeamTrace, samples: int) -> SeamTrace:
    """Cut, or go to and fro along, until there are `samples`; indications grow in number with the length."""
    amplitudes = {
        name: np.pad(values, (0, max(0, samples - len(values))), mode="symmetric")[:samples]
        for name, values in trace.amplitudes_pct.items()
    }
    return replace(trace, amplitudes_pct=amplitudes)


def _least_seconds(loads: list[list[TraceBatch]], load: Load, runs: int) -> list[float]:
    """Least seconds of a core for each load.

    The loads take turns, so that a slow moment of the machine falls on all of them alike, and the clock
    is that of the thread, which stands while other work has the core. Small loads are repeated. The working
    memory that a thread keeps for batches of one length is made before the clock starts.
    """

    def seconds(batches: list[TraceBatch], again: int) -> float:
        describe_batch(batches[0], load.limits)
        start = time.thread_time()
        for _ in range(again):
            for batch in batches:
                describe_batch(batch, load.limits)
        return (time.thread_time() - start) / again

    repeats = [max(1, int(_SECONDS_A_TURN / (seconds(batches, 1) + 1e-9))) for batches in loads]
    turns = [
        [seconds(batches, again) for batches, again in zip(loads, repeats, strict=True)]
        for _ in range(2 * runs)
    ]
    return [min(times) for times in zip(*turns, strict=True)]
