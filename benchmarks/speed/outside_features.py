"""Time general feature libraries; run by `outside.py` with the interpreter of ``.venv-bench``.

``python outside_features.py ARRAYS.npz RUNS`` reads ``amplitudes`` (seams, channels, samples) and prints one
JSON object: seconds of each run over all seams, by library, with its version. Imports nothing of seamtell.
"""

import json
import sys
import time
import warnings
from importlib.metadata import version

import numpy as np

SAMPLES_A_METRE = 2000.0
"""TSFEL names features by frequency, rounded: a rate of 1 makes names collide."""


def catch22(amplitudes: np.ndarray) -> int:
    """22 features of each channel; gives the number of features of a seam."""
    import pycatch22

    features = 0
    for seam in amplitudes:
        features = sum(len(pycatch22.catch22_all(channel)["values"]) for channel in seam.tolist())
    return features


def tsfel(amplitudes: np.ndarray) -> int:
    """Return the number of features of a seam; the default set of each channel."""
    import tsfel as library

    config = library.get_features_by_domain()
    features = 0
    for seam in amplitudes:
        table = library.time_series_features_extractor(config, seam.T, fs=SAMPLES_A_METRE, verbose=0)
        features = table.shape[1]
    return features


LIBRARIES = {"pycatch22": (catch22, 40), "tsfel": (tsfel, 6)}


def main() -> None:
    """Time each library on as many seams as take about a tenth of a second."""
    amplitudes = np.load(sys.argv[1])["amplitudes"].astype(np.float64)
    runs = int(sys.argv[2])
    found = {}
    for name, (work, most) in LIBRARIES.items():
        some = amplitudes[:most]
        seconds = []
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                features = work(some)
                for _ in range(runs):
                    start = time.perf_counter()
                    work(some)
                    seconds.append(time.perf_counter() - start)
            found[name] = {
                "version": version(name),
                "features": features,
                "seams": len(some),
                "seconds": seconds,
            }
        except Exception as problem:  # noqa: BLE001 - the other library is still to come
            found[name] = {"problem": f"{type(problem).__name__}: {problem}"}
    print(json.dumps(found))


if __name__ == "__main__":
    main()
