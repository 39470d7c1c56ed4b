"""General feature libraries on the same seams, in an environment of their own."""

from __future__ import annotations

import json
import statistics
import subprocess
import tempfile
from pathlib import Path

import numpy as np

from speed.load import Load
from speed.timing import RUNS, Measured, NotMeasured

__all__ = ["outside_rows"]

_SCRIPT = Path(__file__).with_name("outside_features.py")
_ROWS = {"pycatch22": "catch22", "tsfel": "TSFEL, default set"}
_TIMEOUT_S = 600


def outside_rows(load: Load, python: Path, *, runs: int = RUNS) -> list[Measured | NotMeasured]:
    """Time catch22 and TSFEL with the interpreter `python`; whatever cannot be measured says why."""
    if not python.exists():
        return [_not(name, f"no {python}: its packages could not be installed") for name in _ROWS]
    with tempfile.TemporaryDirectory() as folder:
        arrays = Path(folder) / "seams.npz"
        np.savez(arrays, amplitudes=load.amplitudes[:64])
        try:
            done = subprocess.run(
                [python, _SCRIPT, arrays, str(runs)],
                capture_output=True,
                text=True,
                timeout=_TIMEOUT_S,
                check=True,
            )
        except subprocess.TimeoutExpired:
            return [_not(name, f"not done within {_TIMEOUT_S} s") for name in _ROWS]
        except subprocess.CalledProcessError as problem:
            last = (problem.stderr or "no message").strip().splitlines()[-1]
            return [_not(name, last) for name in _ROWS]
    found = json.loads(done.stdout.splitlines()[-1])
    return [_row(name, found.get(name, {"problem": "not answered"})) for name in _ROWS]


def _row(name: str, found: dict) -> Measured | NotMeasured:
    if "problem" in found:
        return _not(name, found["problem"])
    work = f"{_ROWS[name]} ({name} {found['version']}), {found['features']} features of both channels"
    n, seconds = found["seams"], found["seconds"]
    return Measured(name, work, "seams/s", n / min(seconds), n / statistics.median(seconds), len(seconds), n)


def _not(name: str, why: str) -> NotMeasured:
    return NotMeasured(name, _ROWS[name], why)
