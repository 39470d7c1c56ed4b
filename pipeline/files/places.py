"""Folders and files on any file system that fsspec opens: object stores, network shares, memory.

What lies on this machine stays a `pathlib.Path` and never comes here. Keys and
endpoints come from the environment of each process, never from the address: an
address is printed and written into records.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlsplit
from uuid import uuid4

from seamtell.features.errors import SeamtellError
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.files.atomic import TEMPORARY_PREFIX
from seamtell.pipeline.files.place_problems import place_problem
from seamtell.pipeline.files.range_reader import RangeReader

if TYPE_CHECKING:
    from fsspec import AbstractFileSystem

__all__ = ["Place", "place_of"]

_ONE_PUT = frozenset(
    {"abfs", "abfss", "adl", "az", "gcs", "gs", "memory", "oci", "oss", "s3", "s3a"}  # from memory
)
"""On these an object appears whole or not at all; on others a file is written aside and renamed."""

_EXTRA = {"s3": "s3", "s3a": "s3"}
"""Extra of seamtell that brings a protocol."""


@dataclass(frozen=True)
class Place:
    """A folder or file by its address, for example ``s3://bucket/shop/traces``.

    Parameters
    ----------
    url : str
        With a protocol, without a slash at the end.

    Examples
    --------
    >>> traces = Place("memory://shop/traces")
    >>> (traces / "manifest.json").write_bytes(b"{}")
    >>> (traces / "manifest.json").read_bytes(), traces.names()
    (b'{}', ('manifest.json',))
    """

    url: str

    def __str__(self) -> str:
        return self.url

    def __truediv__(self, name: str) -> Place:
        return Place(f"{self.url}/{name.strip('/')}")

    @property
    def name(self) -> str:
        """The last piece of the address."""
        return self.url.rsplit("/", 1)[-1]

    @property
    def parent(self) -> Place:
        """The folder around it."""
        return Place(self.url.rsplit("/", 1)[0])

    def exists(self) -> bool:
        """Whether a file or folder is there.

        Raises
        ------
        StorageProblem
            This cannot be found out.
        """
        with _errors(self) as fs:
            return bool(fs.exists(self._path))

    def names(self) -> tuple[str, ...]:
        """Names of what a folder holds, sorted; of a folder that is not there none.

        Raises
        ------
        StorageProblem
        """
        with _errors(self) as fs:
            try:
                listed = fs.ls(self._path, detail=False)
            except (FileNotFoundError, NotADirectoryError):
                return ()
        own = self._path.strip("/")
        return tuple(sorted({one.strip("/").rsplit("/", 1)[-1] for one in listed if one.strip("/") != own}))

    def read_bytes(self) -> bytes:
        """All bytes of a file.

        Raises
        ------
        FileNotFoundError
        StorageProblem
            It is there and cannot be read.
        """
        with _errors(self) as fs:
            try:
                data: bytes = fs.cat_file(self._path)
            except (FileNotFoundError, IsADirectoryError, NotADirectoryError):
                raise _Absent(str(self)) from None
        return data

    def write_bytes(self, data: bytes) -> None:
        """Put a file; a reader sees the old bytes or the new ones, never half of them.

        Raises
        ------
        StorageProblem
            The old file is then untouched.
        """
        with _errors(self) as fs:
            if urlsplit(self.url).scheme in _ONE_PUT:
                fs.pipe_file(self._path, data)
                return
            folder = self._path.rsplit("/", 1)[0]
            temporary = f"{folder}/{TEMPORARY_PREFIX}{uuid4().hex}"
            fs.makedirs(folder, exist_ok=True)
            fs.pipe_file(temporary, data)
            fs.mv(temporary, self._path)

    def open(self) -> RangeReader:
        """Open a file for reading ranges of it.

        Raises
        ------
        FileNotFoundError
        StorageProblem
        """
        with _errors(self) as fs:
            try:
                size = int(fs.info(self._path)["size"])
            except FileNotFoundError:
                raise _Absent(str(self)) from None
        return RangeReader(self.read_range, size)

    def read_range(self, start: int, end: int) -> bytes:
        """Bytes from `start` up to before `end`.

        Raises
        ------
        StorageProblem
        """
        with _errors(self) as fs:
            data: bytes = fs.cat_file(self._path, start=start, end=end)
        return data

    def remove(self) -> None:
        """Remove a file, or a folder with all that is in it; what is not there is no error.

        Raises
        ------
        StorageProblem
        """
        with _errors(self) as fs:
            try:
                fs.rm(self._path, recursive=True)
            except FileNotFoundError:
                return

    @property
    def _path(self) -> str:
        """As the file system calls it."""
        path = _file_system(self)._strip_protocol(self.url)
        return str(path)


class _Absent(FileNotFoundError):
    """A file that is not there, as the caller asked to be told; no problem of the storage."""


def place_of(address: str) -> Place | Path:
    """What an address means: a path on this machine, or a place elsewhere.

    Raises
    ------
    BadInput
        No such protocol, it is not installed, or the address holds a password.
    StorageProblem
        The host does not answer, or refuses.

    Examples
    --------
    >>> place_of("memory://shop/traces/")
    Place(url='memory://shop/traces')
    >>> place_of("file:///srv/traces").name
    'traces'
    """
    if "://" not in address:
        return Path(address)
    parts = urlsplit(address)
    if parts.scheme in {"file", "local"}:
        return Path(address.split("://", 1)[1])
    if parts.password is not None:
        raise BadInput(
            "an address with a password in it would be printed and kept in records",
            where=f"{parts.scheme}://…",
            do="give keys through the environment or the configuration of the file system",
        )
    place = Place(address.rstrip("/"))
    with _errors(place):
        return place


def _file_system(place: Place) -> AbstractFileSystem:
    """The file system of a place; fsspec keeps one for each protocol and host.

    Raises
    ------
    BadInput
    """
    protocol = urlsplit(place.url).scheme
    try:
        from fsspec.core import url_to_fs

        # Another process may write at any time: what was listed once must not be believed later.
        fs: AbstractFileSystem = url_to_fs(place.url, use_listings_cache=False)[0]
        return fs
    except ImportError:
        extra = _EXTRA.get(protocol)
        package = f"'seamtell[{extra}]'" if extra else f"what fsspec needs for '{protocol}'"
        raise BadInput(
            f"what opens '{protocol}://' is not installed", where=str(place), do=f"pip install {package}"
        ) from None
    except ValueError:
        raise BadInput(
            f"no file system '{protocol}' is known",
            where=str(place),
            do="mend the address, for example s3://BUCKET/FOLDER; a folder on this machine needs no '://'",
        ) from None


@contextmanager
def _errors(place: Place) -> Iterator[AbstractFileSystem]:
    """Turn what a file system raises into a `StorageProblem` of one line."""
    try:
        yield _file_system(place)
    except (SeamtellError, _Absent):
        raise
    except Exception as problem:
        # Each file system has exceptions of its own, without a common base.
        known = place_problem(str(place), problem)
        if known is None:
            raise
        raise known from problem
