"""Compiling what Python calls, and keeping the machine code for the next process."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from typing import Any

__all__ = ["OPTIONS", "kept"]

OPTIONS: dict[str, Any] = {"nogil": True, "error_model": "numpy", "_nrt": False}
"""Without the interpreter's lock; dividing by zero gives what NumPy gives; nothing is allocated."""


def kept(function: Callable[..., Any], signature: str | None = None) -> Any:
    """Compile a function, and keep the code where numba finds a writable folder.

    Without one (a read-only installation and home) every process compiles anew. Numba tells
    stale code from the file and the name of the function alone, not from the files of what it calls.

    Parameters
    ----------
    function : callable
        It may allocate nothing: its caller brings the working memory.
    signature : str, optional
        In numba's words, to compile at once for these types and no others; an array that it calls
        read-only may be writable too.
    """
    from numba import njit

    from seamtell.features.kept_code import KeptCode

    dispatcher = njit(**OPTIONS)(function)
    with suppress(RuntimeError):  # what numba raises when it finds no folder that it may write
        dispatcher._cache = KeptCode(function)  # type: ignore[no-untyped-call]
    if signature is not None:
        dispatcher.compile(signature)
        dispatcher.disable_compile()
    return dispatcher
