"""Names of the array types of the wave model."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["Complex", "Floats", "Integers"]

Floats = NDArray[np.floating[Any]]
Complex = NDArray[np.complexfloating[Any, Any]]
Integers = NDArray[np.integer[Any]]
