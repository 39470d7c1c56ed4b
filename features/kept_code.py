"""Machine code on the disk, for a process that compiles nothing."""

from __future__ import annotations

from typing import Any

from numba.core.caching import FunctionCache

__all__ = ["KeptCode"]

_ALLOCATES_NOTHING = "allocates nothing"


class KeptCode(FunctionCache):  # type: ignore[misc]
    """Numba's own cache, which loads machine code without first getting ready to compile any.

    Numba takes in everything that it could compile before it looks for kept code, which takes longer than
    the rest of a start. Code that allocates nothing needs none of it, and the compiler takes it in by
    itself when something must be compiled after all.
    """

    def load_overload(self, sig: Any, target_context: Any) -> Any:
        """Load the code of one signature; None when it must be compiled."""
        with self._guard_against_spurious_io_errors():
            return self._load_overload(sig, target_context)
        return None  # where the guard took an error of the disk for one that passes

    def _index_key(self, sig: Any, codegen: Any) -> tuple[Any, ...]:
        """Numba's own key and a mark: code of another kind under the same name must never be loaded."""
        return (*super()._index_key(sig, codegen), _ALLOCATES_NOTHING)
