"""What a reader of an evaluation must know, in sentences."""

from __future__ import annotations

from collections.abc import Iterator

from seamtell.features.contracts import Flaw, Purpose
from seamtell.pipeline.evaluation.result import Scope, ScopeResult

__all__ = ["FEW_SECTIONS", "IMPLAUSIBLE_MACRO_F1", "evaluation_notes", "too_good_note"]

FEW_SECTIONS = 20
"""Below this many sections of a class the interval says more than the figure."""

IMPLAUSIBLE_MACRO_F1 = 0.97
"""Flaw classes overlap (a short lack of fusion is a notch by another name): nobody tells them this well."""


def too_good_note(result: ScopeResult) -> str:
    """A sentence where nobody could do so well; empty else."""
    if result.macro_f1.estimate is None or result.macro_f1.estimate <= IMPLAUSIBLE_MACRO_F1:
        return ""
    where = "held out" if result.scope is Scope.HELD_OUT else "cross-validated"
    return (
        f"{where}: a macro-F1 of {result.macro_f1.estimate:.2f} is better than these flaws allow: "
        "look for a descriptor or a split that gives the answer away"
    )


def _scope_notes(result: ScopeResult) -> Iterator[str]:
    where = "held out" if result.scope is Scope.HELD_OUT else "cross-validated"
    if result.missed.estimate is None:
        yield f"{where}: the share of missed flaws is unknown: {result.missed.unknown}"
    else:
        for figures in result.by_purpose:
            if figures.missed.estimate is None:
                yield (
                    f"{where}: among {figures.purpose} sections the share of missed flaws is unknown: "
                    f"{figures.missed.unknown}"
                )
    planned = sum(one.sections for one in result.by_purpose if one.purpose == Purpose.PLANNED)
    if planned:
        yield (
            f"{where}: {planned} sections were planned, with a classifier's answers in view; every figure "
            "here counts them once, so it speaks of what was cut and not of production"
        )
    few = [
        f"{figures.label} ({figures.sections})"
        for figures in result.per_class
        if figures.sections < FEW_SECTIONS
    ]
    if few:
        yield f"{where}: few sections of {', '.join(few)}: read the intervals, not the figures"
    if result.shared:
        share = "section shares" if result.shared == 1 else "sections share"
        yield f"{where}: {result.shared} {share} an indication with another cut, counted once"
    if result.left_out:
        yield f"{where}: {result.left_out} sections cannot be judged; sections.csv has the reasons"
    too_good = too_good_note(result)
    if too_good:
        yield too_good


def evaluation_notes(
    held_out: ScopeResult, cross_validated: ScopeResult, left_out_classes: tuple[str, ...], unused: int
) -> tuple[str, ...]:
    """All notes, the weightiest first."""
    notes = [f"the model was not taught {label}: too few sections" for label in left_out_classes]
    notes += [*_scope_notes(held_out), *_scope_notes(cross_validated)]
    if unused:
        notes.append(f"{unused} sections came after training on a coil or seam that training saw: not used")
    notes.append(f"'missed' means that nothing was indicated there; for {Flaw.SOUND.value} that is right")
    notes.append("cross-validated answers are not judged for novelty, held-out answers are")
    return tuple(notes)
