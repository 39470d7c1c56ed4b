"""Compiling what Python calls, and keeping the machine code for the next process."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

__all__ = ["OPTIONS", "kept"]

OPTIONS: dict[str, Any] = {"nogil": True, "error_model": "numpy"}
"""Without the interpreter's lock; dividing by zero gives what NumPy gives."""


def kept(function: Callable[..., Any], signature: str | None = None) -> Any:
    """Compile a function, and keep the code where numba finds a writable folder.

    Without one (a read-only installation and home) every process compiles anew. Numba tells
    stale code from the file and the name of the function alone, not from the files of what it calls.

    Parameters
    ----------
    function : callable
    signature : str, optional
        In numba's words, to compile at once for these types and no others; an array that it calls
        read-only may be writable too.
    """
    from numba import njit

    try:
        return njit(signature, cache=True, **OPTIONS)(function)
    except RuntimeError:  # what numba raises when it finds no folder that it may write
        return njit(signature, **OPTIONS)(function)
