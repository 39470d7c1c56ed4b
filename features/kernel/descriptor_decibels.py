"""Decibels by the natural logarithm, which costs a third of the one to base ten."""

from __future__ import annotations

import math

import numpy as np

from seamtell.features.kernel.compiling import compiled

__all__ = ["decibels"]

_PER_NATURAL = 20.0 / math.log(10.0)


@compiled
def decibels(ratio: float) -> float:
    """20 lg of a ratio of amplitudes."""
    return _PER_NATURAL * np.log(ratio)
