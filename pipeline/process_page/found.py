"""What the statistics of the process page found, for its first sentences and its hints."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from seamtell.pipeline.process_page.view import ChangeRow, EvenRow, GroupRow, MarkRow

__all__ = ["Found"]


@dataclass(frozen=True)
class Found:
    """Rows of the page, and the level of its intervals."""

    changes: Sequence[ChangeRow]
    marks: Sequence[MarkRow]
    even: Sequence[EvenRow]
    groups: Sequence[GroupRow]
    level: float

    def standing_out(self, column: str) -> list[GroupRow]:
        """Groups that differ from all others together, comparisons accounted for; the surest first."""
        found = [one for one in self.groups if one.by == column and self._stands_out(one)]
        return sorted(found, key=lambda one: one.p_adjusted or 0.0)

    def _stands_out(self, one: GroupRow) -> bool:
        return one.p_adjusted is not None and one.p_adjusted < 1.0 - self.level

    def leads(self, one: GroupRow) -> bool:
        """No other group of its column has a higher rate of the flaw."""
        rivals = [g.per_km or 0.0 for g in self.groups if (g.by, g.label) == (one.by, one.label)]
        return (one.per_km or 0.0) >= max(rivals)
