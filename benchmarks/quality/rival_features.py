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
_LONG = 512
"""Samples of a series that is long enough for every feature."""


def catch22_rows(shown: Shown, view: View) -> NDArray[np.float64]:
    """Twenty-two features of each channel with its mean and standard deviation (the library's catch24)."""
    import pycatch22

    rows = [
        [v for channel in one for v in pycatch22.catch22_all(channel.tolist(), catch24=True)["values"]]
        for one in series(shown, view)
    ]
    return np.array(rows, dtype=np.float64)


def tsfel_rows(shown: Shown, view: View) -> NDArray[np.float64]:
    """Statistical, temporal and spectral features of each channel, with the library's own settings.

    A series too short for a feature has NaN there, which the trees read as missing.
    """
    frames = [_tsfel_row(one) for one in series(shown, view)]
    columns = _tsfel_row(np.random.default_rng(0).random((2, _LONG))).columns
    table = pd.concat([frame.reindex(columns=columns) for frame in frames], ignore_index=True)
    return table.replace([np.inf, -np.inf], np.nan).to_numpy(dtype=np.float64)


def _tsfel_row(one: NDArray[np.float64]) -> pd.DataFrame:
    import tsfel

    wanted = {k: v for k, v in tsfel.get_features_by_domain().items() if k != "fractal"}
    frame = pd.DataFrame({"specular": one[0], "scatter": one[1]})
    return tsfel.time_series_features_extractor(wanted, frame, fs=_SAMPLES_PER_M, verbose=0)


def fastest_us(call: Callable[[], object], indications: int, runs: int = 7) -> float:
    """Least time an indication over `runs`, in microseconds, after one run that is not counted."""
    call()
    times = []
    for _ in range(runs):
        start = time.process_time()
        call()
        times.append(time.process_time() - start)
    return min(times) / indications * 1e6
