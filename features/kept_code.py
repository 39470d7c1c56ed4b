"""Machine code on the disk, for a process that compiles nothing."""

from __future__ import annotations

from typing import Any

from llvmlite.binding import parse_assembly
from numba.core.caching import CompileResultCacheImpl, FunctionCache

__all__ = ["KeptCode"]

_KIND = "allocates nothing, called from Python only"


class _NamesOnly(CompileResultCacheImpl):
    """Keeps machine code, and of the code that other compiled functions could take in the names alone.

    That code takes longer to parse than all else of loading, and numba reads the names from it.
    """

    def reduce(self, data: Any) -> tuple[Any, ...]:
        """What is written of a compiled function."""
        (name, kind, content), *rest = super().reduce(data)  # type: ignore[no-untyped-call]
        if kind == "object":
            machine_code, _ = content
            defined = (data.fndesc.llvm_func_name, data.fndesc.llvm_cpython_wrapper_name)
            bodies = "\n".join(f'define void @"{symbol}"() {{ unreachable }}' for symbol in defined)
            content = machine_code, parse_assembly(bodies).as_bitcode()
        return (name, kind, content), *rest


class KeptCode(FunctionCache):
    """Numba's own cache, which loads machine code without first getting ready to compile any.

    Numba takes in everything that it could compile before it looks for kept code, which takes longer than
    the rest of a start. Code that allocates nothing needs none of it, and the compiler takes it in by
    itself when something must be compiled after all. No compiled function may call one that is kept.
    """

    _impl_class = _NamesOnly

    def load_overload(self, sig: Any, target_context: Any) -> Any:
        """Load the code of one signature; None when it must be compiled."""
        with self._guard_against_spurious_io_errors():
            return self._load_overload(sig, target_context)  # type: ignore[no-untyped-call]
        return None  # where the guard took an error of the disk for one that passes

    def _index_key(self, sig: Any, codegen: Any) -> tuple[Any, ...]:
        """Numba's own key and a mark: code of another kind under the same name must never be loaded."""
        key = super()._index_key(sig, codegen)  # type: ignore[no-untyped-call]
        return (*key, _KIND)
