"""Which seams of the store are decided on."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.files.places import Place
from seamtell.pipeline.store.manifest import Manifest, Part
from seamtell.pipeline.store.row_groups import SeamRows, stored_column

__all__ = ["Choice", "welded_span"]


@dataclass(frozen=True)
class Choice:
    """A span of time, or seams by name, or both.

    Parameters
    ----------
    since, until : datetime or None
        Timezone-aware; seams with ``since <= welded_at < until``.
    seam_ids : frozenset of str or None
        None: all.
    """

    since: datetime | None = None
    until: datetime | None = None
    seam_ids: frozenset[str] | None = None

    def parts(self, folder: Path | Place, manifest: Manifest) -> tuple[Part, ...]:
        """Parts of the store that may hold a chosen seam.

        Raises
        ------
        BadInput
            A named seam is not in the store.
        """
        parts = tuple(part for part in manifest.parts if self._may_hold(part))
        if self.seam_ids is None:
            return parts
        unknown = set(self.seam_ids)
        holding = set()
        for part, ids in zip(manifest.parts, stored_column(folder, manifest.parts, "seam_id"), strict=True):
            if not self.seam_ids.isdisjoint(ids):
                holding.add(part)
                unknown.difference_update(ids)
        if unknown:
            raise BadInput(f"no seam '{min(unknown)}' in the store", do="ingest it, or mend the seam id")
        return tuple(part for part in parts if part in holding)

    def mask(self, rows: SeamRows) -> NDArray[np.bool_]:
        """Which rows are chosen."""
        welded = rows.facts.column("welded_at")
        mask = np.ones(len(rows), dtype=np.bool_)
        if self.since is not None:
            mask &= pc.greater_equal(welded, pa.scalar(self.since, welded.type)).to_numpy()
        if self.until is not None:
            mask &= pc.less(welded, pa.scalar(self.until, welded.type)).to_numpy()
        if self.seam_ids is not None:
            wanted = pa.array(sorted(self.seam_ids), pa.string())
            mask &= pc.is_in(rows.facts.column("seam_id"), wanted).to_numpy()
        return mask

    def _may_hold(self, part: Part) -> bool:
        """Whether the span meets the part, which lies in one month and begins with its first row."""
        first = part.first_key[0].astimezone(UTC)
        next_month = datetime(first.year + first.month // 12, first.month % 12 + 1, 1, tzinfo=UTC)
        if self.until is not None and first >= self.until:
            return False
        return self.since is None or next_month > self.since


def welded_span(folder: Path | Place, parts: Sequence[Part]) -> tuple[datetime, datetime]:
    """When the first and the last seam of readable parts were welded; there must be one.

    Raises
    ------
    StorageProblem
        A part is not there.
    """
    spans = list(_spans(folder, parts))
    return min(first for first, _ in spans), max(last for _, last in spans)


def _spans(folder: Path | Place, parts: Sequence[Part]) -> Iterator[tuple[datetime, datetime]]:
    for part, times in zip(parts, stored_column(folder, parts, "welded_at"), strict=True):
        yield part.first_key[0], max(times, default=part.first_key[0])
