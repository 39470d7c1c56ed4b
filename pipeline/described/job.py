"""Describing batches of seams: what the stage *describe* does with the store."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from pydantic import Field

from seamtell.features.contracts import SeamTrace
from seamtell.features.described_batch import DescribedBatch, SeamStatus
from seamtell.features.indications import IndicationSettings
from seamtell.features.kernel.batch import describe_batch
from seamtell.features.trace_batch import TraceBatch
from seamtell.pipeline.described.files import DESCRIBED_FILE
from seamtell.pipeline.files.places import Place
from seamtell.pipeline.limits_file import Limits, read_limits
from seamtell.pipeline.settings import indication_settings, read_settings
from seamtell.pipeline.store.elsewhere import conflicts_of
from seamtell.pipeline.store.row_groups import SeamRows
from seamtell.pipeline.streaming.indication_rows import SEAM_COLUMNS, indication_rows, indications_schema
from seamtell.pipeline.streaming.job import BatchResult, Sums
from seamtell.pipeline.workspace import Workspace

if TYPE_CHECKING:
    import pandas as pd
    import pyarrow as pa

__all__ = ["DescribeJob", "DescribeSums"]


class DescribeSums(Sums):
    """Counts of what was described."""

    seams: int = 0
    indications: int = 0
    conflicts: int = 0
    without_limits: dict[str, int] = Field(default_factory=dict)
    not_described: int = 0

    def plus(self, other: DescribeSums) -> DescribeSums:
        """The sums of both."""
        return DescribeSums(
            seams=self.seams + other.seams,
            indications=self.indications + other.indications,
            conflicts=self.conflicts + other.conflicts,
            without_limits=dict(
                sorted((Counter(self.without_limits) + Counter(other.without_limits)).items())
            ),
            not_described=self.not_described + other.not_described,
        )


@dataclass(frozen=True)
class DescribeJob:
    """All that describing needs besides the traces.

    Parameters
    ----------
    limits : Limits
    settings : IndicationSettings
    conflicts : frozenset of str
        Seams with two differing traces, which are flagged.
    """

    limits: Limits
    settings: IndicationSettings
    conflicts: frozenset[str] = field(default_factory=frozenset)

    @classmethod
    def of(cls, ws: Workspace, store: Path | Place | None = None) -> DescribeJob:
        """As the workspace states it, for its own store or another."""
        return cls(
            limits=read_limits(ws.limits_path),
            settings=indication_settings(read_settings(ws.settings_path).describe),
            conflicts=conflicts_of(ws, store),
        )

    @property
    def tables(self) -> Mapping[str, pa.Schema]:
        """One table, of indications."""
        return {DESCRIBED_FILE: indications_schema()}

    @property
    def sums(self) -> type[DescribeSums]:
        """What is counted."""
        return DescribeSums

    @property
    def inputs(self) -> dict[str, Any]:
        """What the result depends on besides the store."""
        conflicts = hashlib.sha256("\n".join(sorted(self.conflicts)).encode("utf-8")).hexdigest()
        return {"limits": self.limits.digest, "settings": asdict(self.settings), "conflicts": conflicts}

    def work(self, rows: SeamRows) -> BatchResult[DescribeSums]:
        """Describe one batch."""
        import pyarrow as pa
        import pyarrow.compute as pc

        found, table = self._found(rows)
        ids = rows.facts.column("seam_id")
        listed = pc.is_in(ids, pa.array(sorted(self.conflicts), pa.string()))
        without = rows.batch.recipe[found.status == SeamStatus.NO_LIMITS]
        sums = DescribeSums(
            seams=len(rows),
            indications=len(table),
            conflicts=int(np.count_nonzero(listed.to_numpy())),
            without_limits=Counter(rows.batch.recipes[i] for i in without.tolist()),
            not_described=int(np.count_nonzero(found.status > SeamStatus.NO_LIMITS)),
        )
        return BatchResult(sums, (table,), rows.content())

    def frame(self, traces: list[SeamTrace]) -> pd.DataFrame:
        """Describe seams that are in memory one by one."""
        import pandas as pd
        import pyarrow as pa

        schema = indications_schema()
        named = ("seam_id", *(name for name in SEAM_COLUMNS if name != "conflict"))
        facts = pa.table(
            {
                name: pa.array([getattr(trace, name) for trace in traces], schema.field(name).type)
                for name in named
            }
        )
        _, table = self._found(SeamRows(facts, TraceBatch.of_traces(traces)))
        columns = {}
        for one in schema:
            values = table.column(one.name)
            if one.name == "welded_at":
                columns[one.name] = pd.to_datetime(pd.Series(values.to_pylist(), dtype=object), utc=True)
            elif one.type == pa.string():
                columns[one.name] = pd.Series(values.to_pylist(), dtype=object)
            else:
                columns[one.name] = pd.Series(values.to_numpy())
        return pd.DataFrame(columns)

    def _found(self, rows: SeamRows) -> tuple[DescribedBatch, pa.Table]:
        found = describe_batch(rows.batch, self.limits.by_recipe, self.settings)
        return found, indication_rows(rows.facts, rows.batch.channels, found, self.conflicts)
