"""The one list of candidate models, simplest first.

To add one, write a `Candidate` in a module of its own and enter it here.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from seamtell.features.errors import SeamtellError
from seamtell.models.boosted_trees import BoostedTrees
from seamtell.models.candidate import Candidate, FittedCandidate
from seamtell.models.hand_rule import HandRule
from seamtell.models.logistic import Logistic
from seamtell.models.prior import Prior

__all__ = ["CANDIDATES", "Candidate", "FittedCandidate", "in_order"]

_SIMPLEST_FIRST: tuple[type[Candidate], ...] = (Prior, HandRule, Logistic, BoostedTrees)

CANDIDATES: Mapping[str, type[Candidate]] = MappingProxyType({c.name: c for c in _SIMPLEST_FIRST})
"""Name to candidate, from the simplest to the most flexible."""


def in_order(names: tuple[str, ...]) -> tuple[str, ...]:
    """Return `names` from simplest to most flexible.

    Raises
    ------
    SeamtellError
        None given, or one that is not in the list.

    Examples
    --------
    >>> in_order(("lightgbm", "prior"))
    ('prior', 'lightgbm')
    """
    unknown = sorted(set(names) - set(CANDIDATES))
    if unknown or not names:
        raise SeamtellError(
            f"got the candidates {', '.join(unknown) or '(none)'}, expected some of {', '.join(CANDIDATES)}",
            do="mend the list of candidates",
        )
    return tuple(name for name in CANDIDATES if name in names)
