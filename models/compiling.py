"""How the kernels of this folder are compiled."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

__all__ = ["compiled"]


def compiled(function: Callable[..., Any], signature: str) -> Callable[..., Any]:
    """Compile for one signature, without the interpreter's lock, and keep the machine code on disk.

    Numba tells stale code from the file of the function alone, so a kernel calls nothing of
    another file and reads no constant from there. Nothing is reordered: a row's bits depend
    on the row alone.

    Parameters
    ----------
    function : callable
    signature : str
        In numba's words; an array that it calls read-only may be writable too.
    """
    from numba import njit

    options: dict[str, Any] = {"nogil": True, "error_model": "numpy"}
    try:
        return njit(signature, cache=True, **options)(function)
    except RuntimeError:  # no folder that numba may write: compile in every process
        return njit(signature, **options)(function)
