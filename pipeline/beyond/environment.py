"""What must be the same in two processes for them to compute the same bytes."""

from __future__ import annotations

import hashlib
import platform
from dataclasses import asdict, dataclass
from functools import cache
from importlib.metadata import version
from pathlib import Path

from seamtell import features, models, pipeline

__all__ = ["Environment", "differences", "environment"]

_LIBRARIES = ("numpy", "numba", "llvmlite", "pyarrow", "lightgbm", "scipy")


@dataclass(frozen=True)
class Environment:
    """Versions in one process.

    Parameters
    ----------
    seamtell : str
        Version of the distribution, and the beginning of a digest over its source.
    python, machine : str
        For example ``3.12.4`` and ``x86_64``.
    libraries : tuple of str
        Those on which a figure or a byte of a table depends, as ``name version``.
    """

    seamtell: str
    python: str
    machine: str
    libraries: tuple[str, ...]


@cache
def environment() -> Environment:
    """That of this process."""
    return Environment(
        seamtell=f"{version('seamtell')} ({_source_sha256()[:12]})",
        python=platform.python_version(),
        machine=platform.machine(),
        libraries=tuple(f"{name} {version(name)}" for name in _LIBRARIES),
    )


def differences(got: Environment, expected: Environment) -> list[str]:
    """Each difference as ``got …, expected …``.

    Examples
    --------
    >>> here = Environment("0.1.0 (abc)", "3.12.4", "x86_64", ("numba 0.61.0",))
    >>> there = Environment("0.1.0 (abc)", "3.11.9", "x86_64", ("numba 0.60.0",))
    >>> differences(there, here)
    ['got python 3.11.9, expected 3.12.4', 'got numba 0.60.0, expected numba 0.61.0']
    """
    found = []
    theirs, ours = asdict(got), asdict(expected)
    for name in ("seamtell", "python", "machine"):
        if theirs[name] != ours[name]:
            found.append(f"got {name} {theirs[name]}, expected {ours[name]}")
    for there, here in zip(got.libraries, expected.libraries, strict=True):
        if there != here:
            found.append(f"got {there}, expected {here}")
    return found


def _source_sha256() -> str:
    """Over the source that computes: a checkout changes between two versions."""
    digest = hashlib.sha256()
    for package in (features, models, pipeline):
        root = Path(next(iter(package.__path__)))
        for path in sorted(root.rglob("*.py")):
            digest.update(f"{package.__name__}/{path.relative_to(root).as_posix()}\n".encode())
            digest.update(path.read_bytes())
    return digest.hexdigest()
