"""What MLflow's own code is warned about by its libraries; nothing of ours is covered."""

from __future__ import annotations

import os
import warnings
from collections.abc import Iterator
from contextlib import contextmanager

__all__ = ["without_mlflow_noise"]

# Each with the version that needs it; remove one when MLflow no longer does what it says.
_OWN_WARNINGS = (
    # MLflow 3.17 maps a relation with lazy="noload", deprecated in SQLAlchemy 2.1.
    "The ``noload`` loader strategy is deprecated",
    # MLflow 3.17 adds a range to a pandas object in its input example, deprecated in pandas 3.
    "Operation with range is deprecated",
    # MLflow 3.17 warns of the type hints of its own chat classes when it is imported.
    ".*Any type hint is inferred as AnyType",
)


@contextmanager
def without_mlflow_noise() -> Iterator[None]:
    """Import or call MLflow without its own warnings and without telemetry."""
    os.environ.setdefault("MLFLOW_DISABLE_TELEMETRY", "true")
    os.environ.setdefault("DO_NOT_TRACK", "true")
    with warnings.catch_warnings():
        for message in _OWN_WARNINGS:
            warnings.filterwarnings("ignore", message=message)
        yield
