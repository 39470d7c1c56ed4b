"""The versions of what computes the figures: recorded with each sign-off.

Another version is no fault by itself: after an upgrade a model still has to answer
its own probe as when it was saved, or it is refused. So a change of the environment
is told, and calls nothing into question.
"""

from __future__ import annotations

import hashlib
import platform
from importlib.metadata import version

from seamtell.pipeline.sign_off.log_entry import canonical_json_bytes

__all__ = ["LIBRARIES", "environment", "environment_changes", "environment_digest"]

LIBRARIES = (
    "lightgbm",
    "numpy",
    "pandas",
    "pyarrow",
    "pydantic",
    "scikit-learn",
    "scipy",
    "seamtell",
    "statsmodels",
)
"""Distributions whose code makes the numbers, or reads them from disk."""


def environment() -> dict[str, str]:
    """Version of Python and of each of `LIBRARIES`."""
    return {"python": platform.python_version(), **{name: version(name) for name in LIBRARIES}}


def environment_digest(versions: dict[str, str]) -> str:
    """SHA-256 over the canonical JSON of `versions`."""
    return hashlib.sha256(canonical_json_bytes(dict(versions))).hexdigest()


def environment_changes(then: dict[str, str], now: dict[str, str]) -> tuple[str, ...]:
    """What differs, in words.

    Examples
    --------
    >>> environment_changes({"numpy": "2.0.0", "scipy": "1.14"}, {"numpy": "2.1.0", "scipy": "1.14"})
    ('numpy 2.0.0, now 2.1.0',)
    """
    return tuple(
        f"{name} {then.get(name, 'not recorded')}, now {now.get(name, 'not recorded')}"
        for name in sorted(then.keys() | now.keys())
        if then.get(name) != now.get(name)
    )
