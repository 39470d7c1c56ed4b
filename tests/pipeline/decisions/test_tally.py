from __future__ import annotations

from dataclasses import asdict, replace

import numpy as np

from seamtell.models.verdict import Verdict
from seamtell.pipeline.decisions.decided_batch import DecidedBatch
from seamtell.pipeline.decisions.tally import Tally


def test_everything_is_counted_by_name(decided: DecidedBatch) -> None:
    assert asdict(Tally.of(decided)) == {
        "seams": 4,
        "indications": 4,
        "verdicts": {"reject": 2, "review": 1, "accept": 1},
        "labels": {
            "pinhole": 1,
            "edge_notch": 0,
            "lack_of_fusion": 1,
            "mismatch": 0,
            "sound": 0,
            "unclassified": 2,
        },
        "unclassified_by_reason": {"ambiguous": 1, "conflicting_traces": 1},
        "seams_without_limits": {"R9": 1},
        "conflicts": ("D",),
    }


def test_nothing_added_changes_nothing(decided: DecidedBatch) -> None:
    one = Tally.of(decided)
    assert Tally() + one == one == one + Tally()


def test_the_order_in_which_batches_are_added_does_not_matter(decided: DecidedBatch) -> None:
    other = replace(
        decided,
        seam_ids=["E", "F", "G", "H"],
        verdicts=np.full(4, Verdict.ACCEPT, np.int8),
        recipes=("R1", "R7"),
        conflict=np.array([True, False, False, False]),
    )
    parts = [Tally.of(decided), Tally.of(other), Tally.of(decided)]
    total = parts[0] + parts[1] + parts[2]
    assert total == parts[2] + (parts[1] + parts[0])
    assert list(total.verdicts.items()) == [("reject", 4), ("review", 2), ("accept", 6)]
    assert list(total.seams_without_limits.items()) == [("R7", 1), ("R9", 2)]
    assert total.conflicts == ("D", "D", "E")
