"""What the figures were measured on."""

from __future__ import annotations

import os
import platform
from dataclasses import dataclass
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

__all__ = ["Machine", "this_machine"]

_LIBRARIES = ("numpy", "numba", "pyarrow", "scipy", "lightgbm", "scikit-learn")


@dataclass(frozen=True)
class Machine:
    """Processor and software.

    Parameters
    ----------
    cpu : str
        Model name as the operating system states it.
    cores : int
        That this process may use.
    libraries : dict of str to str
        Versions.
    """

    cpu: str
    cores: int
    system: str
    python: str
    libraries: dict[str, str]

    def in_words(self) -> str:
        """Describe it in one line."""
        libraries = ", ".join(f"{name} {number}" for name, number in self.libraries.items())
        return f"{self.cpu}, {self.cores} cores, {self.system}, Python {self.python}, {libraries}"


def this_machine() -> Machine:
    """Look at the machine that runs this."""
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return Machine(
        _cpu(),
        cores,
        f"{platform.system()} {platform.machine()}",
        platform.python_version(),
        {name: _version(name) for name in _LIBRARIES},
    )


def _cpu() -> str:
    try:
        lines = Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
    except OSError:
        return platform.processor() or "unknown processor"
    names = [line.split(":", 1)[1].strip() for line in lines if line.startswith("model name")]
    return names[0] if names else platform.processor() or "unknown processor"


def _version(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        return "absent"
