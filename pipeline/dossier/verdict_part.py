"""The answer first: the criteria, one by one, and the sentence that a person can sign or act on."""

from __future__ import annotations

from seamtell.pipeline.acceptance.record import Comparison, Rival
from seamtell.pipeline.dossier.cells import (
    count_cell,
    estimate_cell,
    estimate_words,
    figure_words,
    label_cell,
    none_cell,
    share_words,
    text_cell,
)
from seamtell.pipeline.dossier.content import (
    Block,
    BulletList,
    Cell,
    Column,
    Heading,
    KeyValue,
    KeyValues,
    Paragraph,
    Section,
    Table,
)
from seamtell.pipeline.dossier.identity_part import outdated_approval, standing_of
from seamtell.pipeline.dossier.source import DossierSource
from seamtell.pipeline.evaluation.result import ScopeResult
from seamtell.pipeline.report.palette import words
from seamtell.pipeline.report.plain_text import plain_text
from seamtell.pipeline.sign_off.criteria_check import CriterionOutcome
from seamtell.pipeline.sign_off.criteria_words import explain
from seamtell.pipeline.sign_off.needed import NeededSections
from seamtell.pipeline.sign_off.states import ModelState
from seamtell.pipeline.sign_off.statistics import IntervalSide

__all__ = ["answer_sentence", "criteria_section"]

_NAMED = 3
"""Failures that the sentence names; the table has all of them."""


def answer_sentence(source: DossierSource) -> str:
    """The summary verdict, from the criteria and the log alone."""
    model_id = source.evaluation.model_id
    applied = [one for one in source.outcomes if one.applies]
    failed = [one for one in applied if not one.passed]
    met = f"{len(applied) - len(failed)} of {len(applied)} checks of the criteria are met"
    standing = standing_of(source)
    approved = standing is not None and standing.state is ModelState.APPROVED
    elsewhere = ", though not on this evidence" if outdated_approval(source) else ""
    if not failed:
        lead = f"{model_id} is approved{elsewhere}" if approved else f"{model_id} may be approved"
        text = f"{lead}: {met}"
    else:
        lead = f"{model_id} is approved{elsewhere}" if approved else f"Do not approve {model_id}"
        text = f"{lead}{', but' if approved else ':'} {met}; {_failures(failed)}"
    if standing is not None and approved and standing.approval.deviation is not None:
        text += f"; by deviation until {standing.approval.deviation.expires:%Y-%m-%d}"
    return f"{text}."


def _failures(failed: list[CriterionOutcome]) -> str:
    first = [f"{_check_name(one)}: {_seen(one)}" for one in failed[:_NAMED]]
    rest = len(failed) - len(first)
    return f"failed: {'; '.join(first)}{f'; and {rest} more' if rest else ''}"


def _check_name(outcome: CriterionOutcome) -> str:
    return f"{outcome.criterion.id}{f' ({words(outcome.label)})' if outcome.label else ''}"


def _seen(outcome: CriterionOutcome) -> str:
    needs = f"needs {outcome.sign} {outcome.criterion.bound:g}"
    if outcome.value is None:
        return f"unknown, {needs}"
    side = outcome.criterion.interval
    at = (
        ""
        if side is IntervalSide.ESTIMATE
        else f" at the {side.value} end of {estimate_words(outcome.figure)}"
    )
    return f"{outcome.value:.3g}{at}, {needs}"


def criteria_section(source: DossierSource) -> Section:
    """The criteria with their figures, then what each of them asks in words."""
    criteria = list(dict.fromkeys(one.criterion for one in source.outcomes))
    return Section(
        "criteria",
        "Verdict against each criterion",
        (
            _questions(source),
            Paragraph(
                "A figure that the sections cannot give is unknown, and unknown never passes. The dashed "
                "tick is the bound; the end of the interval named in the column “looked at” must keep it."
            ),
            _criteria_table(source.needed),
            *_still_needed(source.needed),
            Heading("What each criterion asks"),
            BulletList(tuple(explain(criterion) for criterion in criteria)),
        ),
        joined=True,
    )


def _criteria_table(needed: tuple[NeededSections, ...]) -> Table:
    columns = (
        Column("criterion", "criterion"),
        Column("of", "of"),
        Column("figure", "figure, scale 0 to 1 where drawn"),
        Column("looked_at", "looked at"),
        Column("bound", "bound", right=True),
        Column("result", "result"),
        Column("have", "has", right=True),
        Column("needed", "would need", right=True),
    )
    applied = [one.outcome for one in needed if one.outcome.applies]
    passed = sum(1 for one in applied if one.passed)
    return Table(
        "criteria",
        f"{passed} of {len(applied)} checks pass. Each criterion is checked for every class that it names. "
        "“Would need”: cases in all with which the bound holds with a chance of 80 %, if performance "
        "stays as seen.",
        columns,
        tuple(_criterion_row(one) for one in needed),
    )


def _criterion_row(needed: NeededSections) -> tuple[Cell, ...]:
    one = needed.outcome
    return (
        text_cell(one.criterion.id),
        label_cell(one.label or "all"),
        estimate_cell(one.figure, bound=one.criterion.bound),
        text_cell(one.criterion.interval.value),
        Cell(f"{one.sign} {one.criterion.bound:g}", one.criterion.bound),
        text_cell("does not apply" if not one.applies else "met" if one.passed else "FAILED"),
        count_cell(needed.have),
        none_cell("not said") if needed.needed is None else _needed_cell(needed),
    )


def _needed_cell(needed: NeededSections) -> Cell:
    about = "about " if needed.approximate else ""
    return Cell(f"{about}{needed.needed:,}", needed.needed)


def _still_needed(every: tuple[NeededSections, ...]) -> tuple[Block, ...]:
    """What the failed criteria take, in words."""
    failed = [one for one in every if not one.outcome.passed]
    if not failed:
        return ()
    items = tuple(f"{_check_name(one.outcome)}: {one.words.removesuffix('.')}." for one in failed)
    return (Heading("What the failed criteria would take"), BulletList(items))


def _questions(source: DossierSource) -> KeyValues:
    """What a quality engineer asks first, each answered in a line."""
    held_out = source.evaluation.held_out
    return KeyValues(
        (
            KeyValue("what will it miss?", _misses(source)),
            KeyValue("how sure are we of the names?", _naming(held_out)),
            KeyValue("is it better than the limit rule?", _against(source, Rival.LIMIT_RULE)),
            KeyValue("is it better than the approved model?", _against(source, Rival.APPROVED)),
            KeyValue("who signed?", _signed(source)),
        )
    )


def _misses(source: DossierSource) -> str:
    overall = next((one for one in source.acceptance.miss_rates if one.label == "all"), None)
    cut = f"{share_words(source.evaluation.held_out.missed)} of the flaws found had no indication"
    return (
        f"{cut}, but most cuts were made where something showed. {overall.words if overall else ''}".strip()
    )


def _naming(held_out: ScopeResult) -> str:
    return (
        f"macro-F1 {estimate_words(held_out.macro_f1)} on the newest sections; "
        f"{share_words(held_out.abstention)} of the indicated sections stay unclassified"
    )


def _against(source: DossierSource, rival: Rival) -> str:
    found = [one for one in source.acceptance.comparisons if one.rival is rival]
    if not found and rival is Rival.LIMIT_RULE:
        rule = source.evaluation.held_out.limit_rule
        return f"the limit rule names nothing; it detects {share_words(rule.detections)} of the flaws"
    if not found:
        return source.acceptance.not_compared or "no other model was approved when this was evaluated"
    told = [f"{figure_words(one.figure)} {_difference(one)}" for one in found]
    return f"model less rival: {'; '.join(told)}"


def _difference(one: Comparison) -> str:
    text = estimate_words(one.difference)
    return text if one.difference.estimate is None or one.difference.estimate < 0 else f"+{text}"


def _signed(source: DossierSource) -> str:
    standing = standing_of(source)
    if standing is None:
        return "nobody: the limit rule alone decides"
    return (
        f"{plain_text(standing.last.by)} on {standing.last.time:%Y-%m-%d}, entry {standing.last.seq} of "
        f"the log: {standing.state.value}"
    )
