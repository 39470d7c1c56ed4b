"""Our descriptors beside general time-series methods: ``make bench-quality``, about an hour.

The same sections and the same splits, 20 to 400 sections a class. Shops, features and answers are kept
in ``build/quality``: an interrupted run goes on where it stopped. The rivals' libraries live in an
environment of their own (``benchmarks/quality/requirements.txt``). Writes ``benchmarks/quality/results.json``
and ``.md``.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
from pathlib import Path

from quality.ours import answer_all, our_cost, tree_figures
from quality.shops import SIZES, Setup, prepare
from quality.written import gather, write

HERE = Path(__file__).parent
SCRATCH = HERE.parent / "build" / "quality"
RIVALS_PYTHON = HERE.parent / ".venv-bench" / "bin" / "python"
ONE_THREAD = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "NUMBA_NUM_THREADS"), "1")


def told(text: str) -> None:
    print(text, file=sys.stderr, flush=True)


def main() -> None:
    """Do what is not done yet, and write the tables."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--scratch", type=Path, default=SCRATCH)
    parser.add_argument("--rivals-python", type=Path, default=RIVALS_PYTHON)
    options = parser.parse_args()
    setup = Setup()
    prepare(setup, options.scratch, told)
    answer_all(setup, options.scratch)
    rivals = [str(options.rivals_python), str(HERE / "quality" / "rivals.py")]
    arguments = [str(options.scratch), str(setup.draws), *map(str, SIZES)]
    subprocess.run([*rivals, *arguments], env=os.environ | ONE_THREAD, check=True)
    trees = [one for size in (100, 400) for one in tree_figures(setup, options.scratch, size)]
    write(gather(setup, options.scratch, our_cost(setup, options.scratch), tuple(trees)), HERE / "quality")


if __name__ == "__main__":
    main()
