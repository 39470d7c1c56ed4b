"""Describing on one core and on two, beside the plain ways of doing a like job."""

from __future__ import annotations

import threading
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.signal import correlate, find_peaks, medfilt, peak_widths

from seamtell.features.contracts import SeamTrace
from seamtell.features.describer import analyse_seam, describe_seam
from seamtell.features.kernel.batch import describe_batch
from seamtell.features.trace_batch import TraceBatch
from seamtell.pipeline.store.row_groups import BATCH_SEAMS
from speed.load import Load
from speed.timing import RUNS, Measured, measured

__all__ = ["kernel_rows", "memory_pass", "scipy_loop"]


def kernel_rows(load: Load, *, runs: int = RUNS) -> list[Measured]:
    """Describe with the kernel, the readable reference and a SciPy loop; and a pass over memory."""
    batches = [load.batch(BATCH_SEAMS) for _ in range(4)]
    few = load.traces[:32]
    n = 4 * BATCH_SEAMS
    amplitudes = np.tile(load.amplitudes, (n // len(load.traces) + 1, 1, 1))[:n]

    def describe(some: list[TraceBatch]) -> None:
        for batch in some:
            describe_batch(batch, load.limits)

    def in_two_threads() -> None:
        workers = [threading.Thread(target=describe, args=(batches[i::2],)) for i in range(2)]
        for worker in workers:
            worker.start()
        for worker in workers:
            worker.join()

    return [
        measured("kernel", "describe, compiled, one core", "seams/s", n, lambda: describe(batches), runs),
        measured("kernel_2", "describe, compiled, two threads", "seams/s", n, in_two_threads, runs),
        measured(
            "readable",
            "describe, readable reference, one core",
            "seams/s",
            len(few),
            lambda: [describe_seam(analyse_seam(trace, load.limits[trace.recipe])) for trace in few],
            runs,
        ),
        measured("scipy", "SciPy loop", "seams/s", len(few), lambda: scipy_loop(few), runs),
        measured(
            "memory",
            "memory pass: sum, largest magnitude, largest",
            "seams/s",
            n,
            lambda: memory_pass(amplitudes),
            runs,
        ),
    ]


def scipy_loop(traces: Sequence[SeamTrace]) -> None:
    """Median filter, MAD, peaks, widths and lag of each seam with SciPy calls."""
    for trace in traces:
        channels = [a.astype(np.float64) for a in trace.amplitudes_pct.values()]
        excursions = [a - medfilt(a, 101) for a in channels]
        for excursion in excursions:
            noise = 1.4826 * np.median(np.abs(excursion - np.median(excursion)))
            peaks, _ = find_peaks(excursion, height=5 * noise)
            peak_widths(excursion, peaks)
        correlate(*excursions[:2])


def memory_pass(amplitudes: NDArray[np.float32]) -> list[NDArray[np.float32]]:
    """Read every sample three times and keep three figures a record: what no describer can beat by much.

    Blocks stay in the cache between the three, as they would in a loop over records.
    """
    figures = []
    for i in range(0, len(amplitudes), 64):
        block = amplitudes[i : i + 64]
        highest, lowest = block.max(axis=2), block.min(axis=2)
        figures += [block.sum(axis=2), np.maximum(highest, -lowest), highest]
    return figures
