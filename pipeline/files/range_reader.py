"""A file of which only ranges can be asked for, as something to read and seek in."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import Any

__all__ = ["RangeReader"]


class RangeReader(io.RawIOBase):
    """A file elsewhere, for reading; every read asks for exactly its range.

    Parameters
    ----------
    read_range : callable
        Gives the bytes from a start up to before an end.
    size : int
        Bytes in the file.
    """

    def __init__(self, read_range: Callable[[int, int], bytes], size: int) -> None:
        super().__init__()
        self._read_range, self._size, self._at = read_range, size, 0

    def readable(self) -> bool:
        """Yes."""
        return True

    def seekable(self) -> bool:
        """Yes."""
        return True

    def seek(self, offset: int, whence: int = io.SEEK_SET) -> int:
        """Move to a byte."""
        base = {io.SEEK_SET: 0, io.SEEK_CUR: self._at, io.SEEK_END: self._size}[whence]
        self._at = max(0, base + offset)
        return self._at

    def tell(self) -> int:
        """Where the next read begins."""
        return self._at

    def size(self) -> int:
        """Bytes in the file."""
        return self._size

    def read(self, size: int | None = -1) -> bytes:
        """Up to `size` bytes; all that are left when negative."""
        end = self._size if size is None or size < 0 else min(self._size, self._at + size)
        if end <= self._at:
            return b""
        data = self._read_range(self._at, end)
        self._at += len(data)
        return data

    def readall(self) -> bytes:
        """All that are left."""
        return self.read()

    def readinto(self, buffer: Any) -> int:
        """Fill a buffer as far as there are bytes."""
        data = self.read(len(buffer))
        buffer[: len(data)] = data
        return len(data)
