"""Deciding on batches of seams: what the stage *classify* does with the store."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from seamtell.pipeline.decisions.choice import Choice
from seamtell.pipeline.decisions.decider import Decider
from seamtell.pipeline.decisions.decision_tables import (
    decision_schema,
    decision_table,
    indication_schema,
    indication_table,
)
from seamtell.pipeline.decisions.files import DECISIONS_FILE, INDICATIONS_FILE
from seamtell.pipeline.decisions.tally import Tally
from seamtell.pipeline.store.row_groups import SeamRows
from seamtell.pipeline.streaming.job import BatchResult, Sums

if TYPE_CHECKING:
    import pyarrow as pa

__all__ = ["ClassifyJob", "ClassifySums"]


class ClassifySums(Sums):
    """Counts of what was decided."""

    tally: Tally = Tally()

    def plus(self, other: ClassifySums) -> ClassifySums:
        """The sums of both."""
        return ClassifySums(tally=self.tally + other.tally)


@dataclass(frozen=True)
class ClassifyJob:
    """All that deciding needs besides the traces.

    Parameters
    ----------
    decider : Decider
    choice : Choice
    physics_only : bool or None
        Given for a trial run: whether the model was learnt from simulation alone.
    """

    decider: Decider
    choice: Choice
    physics_only: bool | None = None

    @property
    def tables(self) -> Mapping[str, pa.Schema]:
        """Indications, and seams."""
        trial = self.physics_only is not None
        return {INDICATIONS_FILE: indication_schema(trial=trial), DECISIONS_FILE: decision_schema()}

    @property
    def sums(self) -> type[ClassifySums]:
        """What is counted."""
        return ClassifySums

    @property
    def inputs(self) -> dict[str, Any]:
        """What the result depends on besides the store and the settings."""
        trusted, choice = self.decider.trusted, self.choice
        conflicts = hashlib.sha256("\n".join(sorted(self.decider.conflicts)).encode("utf-8")).hexdigest()
        return {
            "limits": self.decider.limits.digest,
            "model": [trusted.model_id, trusted.digest, trusted.reason and trusted.reason.value],
            "conflicts": conflicts,
            "trial": self.decider.trial,
            "physics_only": self.physics_only,
            "since": choice.since and choice.since.isoformat(),
            "until": choice.until and choice.until.isoformat(),
            "seam_ids": choice.seam_ids if choice.seam_ids is None else sorted(choice.seam_ids),
        }

    def work(self, rows: SeamRows) -> BatchResult[ClassifySums]:
        """Decide on the chosen seams of one batch."""
        chosen = rows.chosen(self.choice.mask(rows))
        if not len(chosen):
            return BatchResult(ClassifySums())
        decided = self.decider.decide(chosen.facts.column("seam_id").to_pylist(), chosen.batch)
        tables = (
            indication_table(decided, trial_of_physics_only=self.physics_only),
            decision_table(decided, self.decider.trusted.digest),
        )
        return BatchResult(ClassifySums(tally=Tally.of(decided)), tables, chosen.content())
