"""Warnings in an acceptance record: a performance that is too good to be true."""

from __future__ import annotations

import numpy as np

from seamtell.pipeline.acceptance.evidence import AcceptanceEvidence
from seamtell.pipeline.acceptance.examiners import Readings
from seamtell.pipeline.acceptance.implausible import Told, implausible_warnings, label_error_of_agreement
from seamtell.pipeline.evaluation.answered import AnsweredSections
from seamtell.pipeline.evaluation.notes import too_good_note

__all__ = ["suspicions"]


def suspicions(evidence: AcceptanceEvidence) -> tuple[str, ...]:
    """Everything that looks too good, in sentences."""
    chosen, taught = evidence.result.candidate, evidence.taught
    plain = (too_good_note(scope) for scope in (evidence.result.held_out, evidence.result.cross_validated))
    signs = implausible_warnings(
        (
            _told("held-out", evidence.held_out, chosen),
            _told("cross-validated", evidence.cross_validated, chosen),
        ),
        taught.values,
        taught.names,
        taught.truths,
        taught.groups,
        label_error=None if evidence.readings is None else _label_error(evidence.readings),
    )
    return (*(note for note in plain if note), *signs)


def _told(where: str, sections: AnsweredSections, chosen: str) -> Told:
    rows = sections.scored
    truths = sections.frame.loc[rows, "truth"].to_numpy(str)
    return Told(where, truths, sections.forced_labels(sections.candidates[chosen])[rows])


def _label_error(readings: Readings) -> float | None:
    """Share of wrong labels by how often pairs of examiners agree; None without such a pair."""
    counts = readings.read_twice().counts
    read = counts.sum(axis=1)
    pairs = float((read * (read - 1)).sum())
    if pairs == 0:
        return None
    return label_error_of_agreement(float(np.sum(counts * (counts - 1))) / pairs)
