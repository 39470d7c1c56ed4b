"""How the time of ``classify`` divides over what it calls: one thread, each call timed."""

from __future__ import annotations

import shutil
import time
from collections import defaultdict
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from unittest import mock

from seamtell.pipeline.classify import classify
from seamtell.pipeline.decisions import decider, job
from seamtell.pipeline.files.part_file import PartFile
from seamtell.pipeline.streaming import unit_run
from seamtell.pipeline.workspace import Workspace
from speed.stage_rows import MODEL_ID

__all__ = ["DESCRIBE", "REST", "stage_split"]

DESCRIBE, REST = "describe", "all else"
_TIMED: tuple[tuple[Any, str, str], ...] = (
    (unit_run, "read_chunk", "read"),
    (decider, "apply_limit_rule_to_batch", "limit rule"),
    (decider, "describe_safely", DESCRIBE),
    (decider, "safe_answers", "model"),
    (job, "indication_table", "tables"),
    (job, "decision_table", "tables"),
    (PartFile, "write", "write"),
    (PartFile, "finish", "write"),
)
"""Where a function is called by this name, and the step that it is."""


def stage_split(ws: Workspace, out: Path, runs: int = 5) -> dict[str, float]:
    """Seconds of each step of one run with one thread: the run of the least total of several."""
    found = [_split(ws, out) for _ in range(runs + 1)]
    return min(found[1:], key=lambda split: sum(split.values()))


def _split(ws: Workspace, out: Path) -> dict[str, float]:
    seconds: dict[str, float] = defaultdict(float)
    with ExitStack() as stack:
        for owner, name, step in _TIMED:
            stack.enter_context(_timed(owner, name, step, seconds))
        start = time.perf_counter()
        classify(ws, out=out, trial=MODEL_ID, threads=1, now=datetime.now(UTC))
        whole = time.perf_counter() - start
    shutil.rmtree(out)
    steps = dict.fromkeys((step for _, _, step in _TIMED), 0.0) | seconds
    return {**steps, REST: whole - sum(seconds.values())}


@contextmanager
def _timed(owner: Any, name: str, step: str, seconds: dict[str, float]) -> Iterator[None]:
    called: Callable[..., Any] = getattr(owner, name)

    def timed(*args: Any, **options: Any) -> Any:
        start = time.perf_counter()
        try:
            return called(*args, **options)
        finally:
            seconds[step] += time.perf_counter() - start

    with mock.patch.object(owner, name, timed):
        yield
