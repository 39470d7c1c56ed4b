"""Classify a store once in a process of its own, as ``seamtell classify`` does; prints what it cost.

``python classify_once.py WORKSPACE OUT MODEL [THREADS]``: one JSON object with the seconds of the call, CPU
seconds of the process (start included) and its peak memory. An empty MODEL is the limit rule alone.
"""

from __future__ import annotations

import json
import resource
import sys
import time
from datetime import UTC, datetime
from pathlib import Path

from seamtell.pipeline.classify import classify
from seamtell.pipeline.workspace import Workspace


def peak_mib() -> float:
    """Peak memory of this program.

    Not ``ru_maxrss`` where it can be helped: on Linux a child starts with the figure of its parent.
    """
    status = Path("/proc/self/status")
    if status.exists():
        line = next(one for one in status.read_text().splitlines() if one.startswith("VmHWM"))
        return float(line.split()[1]) / 1024.0
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0**2


def main() -> None:
    """Classify and print."""
    workspace, out, model = sys.argv[1:4]
    threads = int(sys.argv[4]) if len(sys.argv) > 4 else None
    start = time.perf_counter()
    done = classify(
        Workspace(Path(workspace)), out=Path(out), trial=model or None, threads=threads, now=datetime.now(UTC)
    )
    seconds = time.perf_counter() - start
    used = resource.getrusage(resource.RUSAGE_SELF)
    print(
        json.dumps(
            {
                "seams": done.record.counts.seams,
                "indications": done.record.counts.indications,
                "seconds": seconds,
                "cpu_seconds": used.ru_utime + used.ru_stime,
                "peak_mib": peak_mib(),
            }
        )
    )


if __name__ == "__main__":
    main()
