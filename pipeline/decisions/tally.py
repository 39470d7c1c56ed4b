"""How many of what was decided: counted batch by batch, added up in any order."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from seamtell.features.contracts import UNCLASSIFIED, Flaw
from seamtell.features.described_batch import SeamStatus
from seamtell.models.answers import NO_CODE, REASONS
from seamtell.models.verdict import Verdict
from seamtell.pipeline.decisions.decided_batch import DecidedBatch

__all__ = ["Tally"]

_LABELS = (*(flaw.value for flaw in Flaw), UNCLASSIFIED)


@dataclass(frozen=True)
class Tally:
    """Counts of seams and indications; nothing in it grows with their number, but for conflicts.

    Parameters
    ----------
    seams, indications : int
    verdicts : mapping of str to int
        Strictest first; every verdict, also one that no seam got.
    labels : mapping of str to int
        Every flaw and ``unclassified``.
    unclassified_by_reason : mapping of str to int
        Only reasons that occur, by name.
    seams_without_limits : mapping of str to int
        Seams whose recipe the limit file does not name, by recipe.
    conflicts : tuple of str
        Decided seams with two differing traces, sorted.
    """

    seams: int = 0
    indications: int = 0
    verdicts: Mapping[str, int] = field(default_factory=lambda: {v.text: 0 for v in reversed(Verdict)})
    labels: Mapping[str, int] = field(default_factory=lambda: dict.fromkeys(_LABELS, 0))
    unclassified_by_reason: Mapping[str, int] = field(default_factory=dict)
    seams_without_limits: Mapping[str, int] = field(default_factory=dict)
    conflicts: tuple[str, ...] = ()

    @classmethod
    def of(cls, decided: DecidedBatch) -> Tally:
        """Count one batch."""
        answers = decided.answers
        verdicts = np.bincount(decided.verdicts, minlength=len(Verdict)).tolist()
        labels = np.bincount(answers.codes + 1, minlength=len(answers.classes) + 1).tolist()
        reasons = np.bincount(answers.reason_codes - NO_CODE, minlength=len(REASONS) + 1).tolist()[1:]
        no_limits = decided.recipe[decided.described.status == SeamStatus.NO_LIMITS]
        recipes = np.bincount(no_limits, minlength=len(decided.recipes)).tolist()
        return cls(
            seams=len(decided),
            indications=len(answers),
            verdicts={verdict.text: verdicts[verdict] for verdict in reversed(Verdict)},
            labels=dict.fromkeys(_LABELS, 0)
            | dict(zip((UNCLASSIFIED, *answers.classes), labels, strict=True)),
            unclassified_by_reason=_occurring({r.value: n for r, n in zip(REASONS, reasons, strict=True)}),
            seams_without_limits=_occurring(dict(zip(decided.recipes, recipes, strict=True))),
            conflicts=tuple(
                sorted(str(decided.seam_ids[i]) for i in np.flatnonzero(decided.conflict).tolist())
            ),
        )

    def __add__(self, other: Tally) -> Tally:
        return Tally(
            seams=self.seams + other.seams,
            indications=self.indications + other.indications,
            verdicts={name: n + other.verdicts[name] for name, n in self.verdicts.items()},
            labels={name: n + other.labels[name] for name, n in self.labels.items()},
            unclassified_by_reason=_occurring(
                Counter(self.unclassified_by_reason) + Counter(other.unclassified_by_reason)
            ),
            seams_without_limits=_occurring(
                Counter(self.seams_without_limits) + Counter(other.seams_without_limits)
            ),
            conflicts=tuple(sorted((*self.conflicts, *other.conflicts))),
        )


def _occurring(counts: Mapping[str, int]) -> dict[str, int]:
    return {name: counts[name] for name in sorted(counts) if counts[name]}
