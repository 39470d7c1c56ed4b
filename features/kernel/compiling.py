"""How the kernels are compiled, and how the machine code is kept for the next process.

Only the entry function is kept on disk, with everything it calls inside it. Numba tells
whether kept code is stale from the file of the function alone, not from the files of what it
calls, so the entry's name holds a digest over the sources.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar, cast

from numba import njit
from numba.core.registry import CPUDispatcher
from numba.extending import intrinsic

from seamtell.features.machine_code import OPTIONS, kept

__all__ = [
    "compiled",
    "contracting",
    "entry",
    "inlined",
    "larger",
    "reordering",
    "smaller",
    "source_digest",
]

Function = TypeVar("Function", bound=Callable[..., Any])

_INNER: dict[str, Any] = {**OPTIONS, "no_cpython_wrapper": True, "no_cfunc_wrapper": True}


class _OnlyForKernels(CPUDispatcher):  # type: ignore[misc]
    """A compiled function without the code that a call from Python needs, which takes long to compile."""

    def __call__(self, *arguments: object) -> object:  # noqa: ARG002 (the signature of any call)
        raise TypeError(f"{self.py_func.__qualname__} can be called from kernels only")


def _inner(function: Function, **options: Any) -> Function:
    dispatcher = njit(**_INNER, **options)(function)
    dispatcher.__class__ = _OnlyForKernels
    return cast(Function, dispatcher)


def compiled(function: Function) -> Function:
    """Compile a function that only kernels call; never kept on disk by itself."""
    return _inner(function)


def reordering(function: Function) -> Function:
    """Like `compiled`, and sums may be reordered: for sums whose last bits decide nothing, or of integers."""
    return _inner(function, fastmath={"reassoc", "contract"})


def contracting(function: Function) -> Function:
    """Like `compiled`, and a product and a sum may be rounded once instead of twice."""
    return _inner(function, fastmath={"contract"})


def inlined(function: Function) -> Function:
    """Like `compiled`, and copied into every caller: for what is called often with many arguments.

    Each array and each named tuple is handed over as all its parts, by way of memory.
    """
    return _inner(function, forceinline=True)


def source_digest() -> str:
    """Digest over every source of `features`, whose constants and order of descriptors the kernels take."""
    digest = hashlib.sha256()
    root = Path(__file__).parents[1]
    for path in sorted(root.rglob("*.py")):
        digest.update(path.relative_to(root).as_posix().encode() + b"\0" + path.read_bytes() + b"\0")
    return digest.hexdigest()[:16]


def entry(function: Callable[..., Any]) -> Any:
    """Compile the function that Python calls, under a name that holds a digest over the sources."""
    function.__qualname__ = f"{function.__qualname__}_{source_digest()}"
    return kept(function)


_NEVER_NAN = ("nnan", "nsz")


def _one_of_two(comparison: str) -> Any:
    """Code that chooses the first of two floats where the comparison holds, else the second."""

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        holds = builder.fcmp_ordered(comparison, *arguments, flags=_NEVER_NAN)
        return builder.select(holds, *arguments, flags=_NEVER_NAN)

    return generate


@intrinsic  # type: ignore[untyped-decorator]
def larger(typing_context: Any, a: Any, b: Any) -> Any:
    """The larger of two floats that are not NaN, in a form that the compiler keeps in vector registers."""
    return a(a, a), _one_of_two(">")


@intrinsic  # type: ignore[untyped-decorator]
def smaller(typing_context: Any, a: Any, b: Any) -> Any:
    """The smaller of two floats that are not NaN, in a form that the compiler keeps in vector registers."""
    return a(a, a), _one_of_two("<")
