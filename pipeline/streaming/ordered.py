"""Doing the same to many things in threads, with the results in order and few of them at once."""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from typing import TypeVar

__all__ = ["ordered_map", "usable_cores"]

T = TypeVar("T")
R = TypeVar("R")


def usable_cores() -> int:
    """Cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def ordered_map(function: Callable[[T], R], items: Iterable[T], threads: int) -> Iterator[R]:
    """Apply a function that releases the interpreter lock; at most two items a thread are under way.

    Whoever takes the results slows down the reading of `items`, so memory is bounded. An error
    of one item is raised in its place in the order; what is under way then ends first.

    Examples
    --------
    >>> list(ordered_map(abs, [-3, 2, -1], threads=2))
    [3, 2, 1]
    """
    if threads < 2:
        yield from map(function, items)
        return
    with ThreadPoolExecutor(threads, thread_name_prefix="seamtell") as pool:
        under_way: deque[Future[R]] = deque()
        try:
            for item in items:
                under_way.append(pool.submit(function, item))
                if len(under_way) >= 2 * threads:
                    yield under_way.popleft().result()
            while under_way:
                yield under_way.popleft().result()
        finally:
            for future in under_way:
                future.cancel()
