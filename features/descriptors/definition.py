"""What a descriptor is, and the decorators that make one of a function."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import Literal, NamedTuple

from seamtell.features.contracts import Channel
from seamtell.features.descriptors.profile import IndicationView, Profile

__all__ = ["Descriptor", "Family", "Gain", "PerChannel", "descriptor", "per_channel"]

Gain = Literal["invariant", "follows"]
"""What a gain common to both channels does to a value: nothing, or multiplies it."""


class Family(StrEnum):
    """The four families, in the order of the registry."""

    PEAK_SHAPE = "peak_shape"
    WIDTH = "width"
    CROSS_CHANNEL = "cross_channel"
    CONTEXT = "context"


@dataclass(frozen=True)
class Descriptor:
    """One figure that describes an indication.

    Parameters
    ----------
    name : str
        Name of the column.
    family : Family
    unit : str
        ``"1"`` for a pure number.
    meaning : str
        One line for people.
    formula : str
        With e the smoothed excursion over the baseline in the window, H its height
        (`s` and `c` for specular and scatter), b the beam width, L the specular
        baseline level, σ the noise.
    gain : {"invariant", "follows"}
    function : callable
        From an `IndicationView` to a finite float.
    for_model : bool
        False when the value tells the recipe, line or seam rather than the flaw.
    """

    name: str
    family: Family
    unit: str
    meaning: str
    formula: str
    gain: Gain
    function: Callable[[IndicationView], float]
    for_model: bool = True

    def __call__(self, view: IndicationView) -> float:
        """Value for one indication."""
        return float(self.function(view))


class PerChannel(NamedTuple):
    """The same figure of both channels."""

    specular: Descriptor
    scatter: Descriptor


def descriptor(
    family: Family, unit: str, *, meaning: str, formula: str, gain: Gain = "invariant", for_model: bool = True
) -> Callable[[Callable[[IndicationView], float]], Descriptor]:
    """Make a descriptor of a function of the whole indication; its name is the function's.

    Examples
    --------
    >>> @descriptor(Family.CONTEXT, "1", meaning="always one", formula="1")
    ... def one(view):
    ...     return 1.0
    >>> one.name, one.gain
    ('one', 'invariant')
    """

    def define(function: Callable[[IndicationView], float]) -> Descriptor:
        return Descriptor(function.__name__, family, unit, meaning, formula, gain, function, for_model)

    return define


def per_channel(
    family: Family, unit: str, *, meaning: str, formula: str, gain: Gain = "invariant", for_model: bool = True
) -> Callable[[Callable[[Profile], float]], PerChannel]:
    """Make two descriptors, ``specular_NAME`` and ``scatter_NAME``, of a function of one profile."""

    def define(function: Callable[[Profile], float]) -> PerChannel:
        def one(channel: Channel) -> Descriptor:
            return Descriptor(
                name=f"{channel}_{function.__name__}",
                family=family,
                unit=unit,
                meaning=f"{channel}: {meaning}",
                formula=formula,
                gain=gain,
                function=lambda view: function(view.profile(channel)),
                for_model=for_model,
            )

        return PerChannel(one(Channel.SPECULAR), one(Channel.SCATTER))

    return define
