"""Points on data, labels and performance: what the record says of each."""

from __future__ import annotations

from seamtell.pipeline.dossier.cells import share_words
from seamtell.pipeline.dossier.qualification_point import Point, not_shown, partly, shown
from seamtell.pipeline.dossier.source import DossierSource
from seamtell.pipeline.evaluation.result import Scope
from seamtell.pipeline.report.palette import words

__all__ = ["data_points", "label_points", "performance_points"]

_DATA = "Data, and how the sections were selected"
_TRUTH = "How sure the truth is"
_FEW = 20
"""Below this a class reads "few" everywhere."""


def data_points(source: DossierSource) -> tuple[Point, ...]:
    """Origin of the data and independence of the test."""
    card, held_out = source.card, source.evaluation.held_out
    simulated = (
        f", and simulated flaws ({card.physics.origin})" if card.physics else ", and nothing simulated"
    )
    few = [words(one.label) for one in held_out.per_class if one.sections < _FEW]
    sizes = "Enough cases of each flaw."
    counts = ", ".join(f"{words(one.label)} {one.sections}" for one in held_out.per_class)
    return (
        shown(
            "origin",
            "Where the training data come from.",
            f"{len(card.training_section_ids)} sections of the shop's own production, from "
            f"{len(card.training_groups)} coils or seams{simulated}. Their SHA-256 is held.",
            _DATA,
        ),
        _independence(source),
        partly("sizes", sizes, f"Held-out: {counts}. Few: {', '.join(few)}.", _DATA)
        if few
        else shown("sizes", sizes, f"Held-out: {counts}.", _DATA),
        _selection(source),
        not_shown(
            "blind",
            "That whoever developed the model had not seen the test before.",
            "The held-out sections are fixed by date and coil, but how often they were evaluated, and by "
            "whom, before this model was chosen is not recorded.",
        ),
        _representative(source),
    )


def _independence(source: DossierSource) -> Point:
    asked = "That the test data had no part in the training."
    held_out = source.judged[source.judged["scope"] == Scope.HELD_OUT.value]
    shared = frozenset(held_out["section_id"]) & frozenset(source.card.training_section_ids)
    groups = frozenset(held_out["group"]) if "group" in held_out else None
    if shared:
        return not_shown("independence", asked, f"{len(shared)} held-out sections also taught the model.")
    if groups is None or not len(held_out):
        return not_shown("independence", asked, "The coils of the held-out sections are not recorded.")
    both = groups & frozenset(source.card.training_groups)
    if both:
        return not_shown("independence", asked, f"{len(both)} coils gave both training and test sections.")
    return shown(
        "independence",
        asked,
        f"None of {len(held_out)} held-out sections and none of their {len(groups)} coils taught the model; "
        "they are the newest ones.",
        _DATA,
    )


def _selection(source: DossierSource) -> Point:
    asked = "How the test pieces were chosen, and what their choice does to the figures."
    rates = source.acceptance.miss_rates
    cuts = max((one.random_cuts for one in rates), default=0)
    if not cuts:
        return partly(
            "selection",
            asked,
            "The purpose of each section is recorded. Nothing unflagged was cut at random places, so the "
            "miss rate is unknown.",
            "Missed flaws",
        )
    return shown(
        "selection",
        asked,
        f"The purpose of each section is recorded; {cuts} random cuts where nothing was indicated bound the "
        "miss rate.",
        "Missed flaws",
    )


def _representative(source: DossierSource) -> Point:
    asked = "That the data cover the conditions of use."
    kinds = dict.fromkeys(one.by for one in source.acceptance.strata)
    if not kinds:
        return not_shown("coverage", asked, "No figures by recipe, line, speed or period.")
    return partly(
        "coverage",
        asked,
        f"Figures by {', '.join(words(kind) for kind in kinds)}. Conditions that no section comes from are "
        "not covered.",
        "By stratum",
    )


def label_points(source: DossierSource) -> tuple[Point, ...]:
    """How the labels were made."""
    record, table = source.acceptance, source.section_table
    named = int((table["examiner"] != "").sum())
    method = "The seam is cut, ground and etched, and read by a person."
    asked = "How the truth was established, and by whom."
    made = (
        shown("truth", asked, f"{method} {named} of {len(table)} sections name their examiner.", _DATA)
        if named == len(table)
        else partly(
            "truth", asked, f"{method} Only {named} of {len(table)} sections name an examiner.", _DATA
        )
    )
    return (
        made,
        _agreement(source),
        shown(
            "label_errors",
            "What wrong labels would do to the figures.",
            f"Worked out for {len(record.label_errors)} shares of wrong labels.",
            _TRUTH,
        )
        if record.label_errors
        else not_shown("label_errors", "What wrong labels would do to the figures.", "Not worked out."),
        shown(
            "position",
            "How a signal is matched to the place that was cut.",
            "By position with a tolerance; the headline figures were worked out at several tolerances.",
            "What the position tolerance does to the figures",
        )
        if record.tolerance
        else not_shown(
            "position", "How a signal is matched to the place that was cut.", "No tolerance tried."
        ),
    )


def _agreement(source: DossierSource) -> Point:
    asked = "How far examiners agree."
    found = source.acceptance.agreement
    if found is None:
        return not_shown("agreement", asked, "No section was read by two examiners.")
    return shown("agreement", asked, f"{found.examiners} examiners read {found.sections} sections.", _TRUTH)


def performance_points(source: DossierSource) -> tuple[Point, ...]:
    """What it can do."""
    result, record = source.evaluation, source.acceptance
    compared = (
        f"On the same sections: {len(record.comparisons)} figures, with paired intervals."
        if record.comparisons
        else ""
    )
    asked = "How it does against the procedure in use."
    return (
        _detection(source),
        shown(
            "naming",
            "How often it is wrong, for each flaw, with the uncertainty.",
            "Matrix and intervals for each class; bounds that hold for all classes at once are given for "
            f"{len(record.simultaneous)} of {len(result.held_out.per_class)}.",
            "Each class with its intervals",
        ),
        shown(
            "false_calls",
            "How often it calls out where nothing is wrong.",
            f"The limit rule: {share_words(result.held_out.limit_rule.false_calls)} of the sound sections. "
            f"Needless reviews asked by the model: {share_words(result.review_cost.needless)}.",
            "Against the approved model and against the limit rule",
        ),
        shown("comparison", asked, compared, "Against the approved model and against the limit rule")
        if compared
        else not_shown("comparison", asked, "Nothing was compared."),
    )


def _detection(source: DossierSource) -> Point:
    asked = "The size of flaw that it finds, with confidence."
    fits = source.acceptance.detection
    given = [one for one in fits if one.a90_95_mm is not None]
    if not given:
        return not_shown("detection", asked, f"{len(fits)} curves were asked for; none gives a90/95.")
    classes = dict.fromkeys(words(one.label) for one in given)
    return partly(
        "detection",
        asked,
        f"a90/95 is given for {', '.join(classes)}, in {len(given)} of {len(fits)} curves; the others say "
        "why not. Most sections were cut where something showed, which flatters every curve.",
        "Probability of detection over flaw size",
    )
