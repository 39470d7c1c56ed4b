"""What happens to a seam, in the order from mild to strict."""

from __future__ import annotations

from enum import IntEnum

__all__ = ["Verdict"]


class Verdict(IntEnum):
    """Ordered, so that the stricter of two verdicts is their maximum.

    Examples
    --------
    >>> max(Verdict.ACCEPT, Verdict.REVIEW).text
    'review'
    """

    ACCEPT = 0
    """No limit exceeded and no review asked for."""
    REVIEW = 1
    """No limit exceeded; a qualified person should look."""
    REJECT = 2
    """The limit rule rejects, or could not judge the seam."""

    @property
    def text(self) -> str:
        """The verdict as files and tables show it: lower case."""
        return self.name.lower()
