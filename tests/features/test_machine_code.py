"""Kept machine code: a second process loads it, whatever else lies under its name."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

MODULE = """
import json, sys
from numba import njit
from seamtell.features.machine_code import OPTIONS, kept

def doubled(values, out):
    for i in range(len(values)):
        out[i] = 2.0 * values[i]

SIGNATURE = "void(float64[::1], float64[::1])"
"""

RUN = """
import numpy as np
function = kept(doubled, SIGNATURE)
out = np.empty(3)
function(np.array([1.0, 2.0, 3.5]), out)
loaded, = function.stats.cache_hits.values() or [0]
compiler = "numba.np.linalg" in sys.modules
"""

TELL = "print(json.dumps([out.tolist(), loaded, compiler]))\n"


def run(folder: Path, code: str) -> list[object]:
    script = folder / "doubling.py"
    if not script.exists() or script.read_text() != code:
        script.write_text(code)
    done = subprocess.run(
        [sys.executable, script],
        env={**os.environ, "NUMBA_CACHE_DIR": str(folder / "cache")},
        capture_output=True,
        text=True,
        check=True,
    )
    told: list[object] = json.loads(done.stdout)
    return told


def test_the_next_process_loads_the_code_without_the_compiler(tmp_path: Path) -> None:
    first = run(tmp_path, MODULE + RUN + TELL)
    assert first == [[2.0, 4.0, 7.0], 0, True]
    assert run(tmp_path, MODULE + RUN + TELL) == [[2.0, 4.0, 7.0], 1, False]


def test_another_function_is_compiled_after_loading(tmp_path: Path) -> None:
    more = """
@njit
def total(values):
    return np.concatenate((values, np.ones(2))).sum()

out = np.array([total(out)])
"""
    code = MODULE + RUN + more + TELL
    run(tmp_path, code)
    assert run(tmp_path, code) == [[15.0], 1, False]


def test_code_that_numba_kept_under_the_same_name_is_not_loaded(tmp_path: Path) -> None:
    before = 'if not __import__("pathlib").Path(__file__).with_name("kept").exists():\n'
    before += "    njit(SIGNATURE, cache=True)(doubled)\n"
    before += '    __import__("pathlib").Path(__file__).with_name("kept").touch()\n'
    before += '    print("[]")\n    sys.exit()\n'
    code = MODULE + before + RUN + TELL
    assert run(tmp_path, code) == []
    assert len(list((tmp_path / "cache").rglob("*.nbc"))) == 1
    assert run(tmp_path, code) == [[2.0, 4.0, 7.0], 0, True]
    assert run(tmp_path, code) == [[2.0, 4.0, 7.0], 1, False]


def test_a_function_that_allocates_is_refused(tmp_path: Path) -> None:
    allocating = MODULE + "import numpy as np\ndef making(n, out):\n    out[0] = np.empty(n)[0]\n"
    with pytest.raises(subprocess.CalledProcessError) as refused:
        run(tmp_path, allocating + 'kept(making, "void(int64, float64[::1])")\n')
    assert "No implementation of function Function(<built-in function empty>)" in refused.value.stderr
