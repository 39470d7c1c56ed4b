"""Worker processes that do not get in one another's way."""

from __future__ import annotations

import multiprocessing
from concurrent.futures import ProcessPoolExecutor

__all__ = ["worker_pool"]


def worker_pool(workers: int) -> ProcessPoolExecutor:
    """A pool of `workers` processes, each computing on one thread.

    Spawned, not forked: a forked child would inherit the locks of other threads. One
    thread each: linear algebra that starts a thread a core in every process makes them
    wait for one another, and costs many times what it saves.
    """
    return ProcessPoolExecutor(
        workers, mp_context=multiprocessing.get_context("spawn"), initializer=_one_thread
    )


def _one_thread() -> None:
    # The libraries must be loaded to be limited; for the life of the process.
    import numpy  # noqa: F401
    import scipy.linalg  # noqa: F401
    from threadpoolctl import threadpool_limits

    threadpool_limits(1)
