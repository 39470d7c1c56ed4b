"""Features of the rivals' libraries; runs in the environment of ``requirements.txt``."""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from quality.views import Shown, View, series

__all__ = ["catch22_rows", "fastest_us", "tsfel_rows"]

_SAMPLES_PER_M = 2000.0
"""In metres, because the library rounds frequencies to two places in the names of its columns."""


def catch22_rows(shown: Shown, view: View) -> NDArray[np.float64]:
    """Twenty-two features of each channel with its mean and standard deviation (the library's catch24)."""
    import pycatch22

    rows = [
        [v for channel in one for v in pycatch22.catch22_all(channel.tolist(), catch24=True)["values"]]
        for one in series(shown, view)
    ]
    return np.array(rows, dtype=np.float64)


def tsfel_rows(shown: Shown, view: View) -> NDArray[np.float64]:
    """Statistical, temporal and spectral features of each channel, with the library's own settings."""
    import tsfel

    wanted = {k: v for k, v in tsfel.get_features_by_domain().items() if k != "fractal"}
    frames = []
    for one in series(shown, view):
        frame = pd.DataFrame({"specular": one[0], "scatter": one[1]})
        frames.append(tsfel.time_series_features_extractor(wanted, frame, fs=_SAMPLES_PER_M, verbose=0))
    table = pd.concat(frames, ignore_index=True)
    if list(table.columns) != list(frames[0].columns):
        raise ValueError("a series too short for some feature gives other columns, expected the same for all")
    return table.replace([np.inf, -np.inf], np.nan).to_numpy(dtype=np.float64)


def fastest_us(call: Callable[[], object], indications: int, runs: int = 7) -> float:
    """Least time an indication over `runs`, in microseconds, after one run that is not counted."""
    call()
    times = []
    for _ in range(runs):
        start = time.process_time()
        call()
        times.append(time.process_time() - start)
    return min(times) / indications * 1e6
