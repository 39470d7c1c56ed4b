"""Which record this is: model, data, digests, versions, state and signatures."""

from __future__ import annotations

from datetime import UTC, datetime

from seamtell.pipeline.dossier.cells import count_cell, text_cell
from seamtell.pipeline.dossier.content import (
    BulletList,
    Column,
    KeyValue,
    KeyValues,
    Paragraph,
    Section,
    SignLines,
    Table,
    Tone,
)
from seamtell.pipeline.dossier.source import DossierSource
from seamtell.pipeline.evaluation.result import ScopeResult
from seamtell.pipeline.report.palette import words
from seamtell.pipeline.report.plain_text import plain_text
from seamtell.pipeline.report.verdict_sentence import candidate_words
from seamtell.pipeline.sign_off.log_entry import Action
from seamtell.pipeline.sign_off.states import ModelState, Standing, standings

__all__ = [
    "SIGNING_ROLES",
    "digests_section",
    "identification_line",
    "identification_section",
    "outdated_approval",
    "signing_section",
    "standing_of",
]

_DONE = {Action.APPROVE: "approved", Action.WITHDRAW: "withdrawn", Action.REINSTATE: "reinstated"}
SIGNING_ROLES = ("Quality engineer", "Inspection personnel, responsible level", "Production")
"""Who may want to sign on paper; common practice, a shop strikes out what it does not need."""


def _day(value: datetime | None) -> str:
    return "unknown" if value is None else f"{value.astimezone(UTC):%Y-%m-%d}"


def _time(value: datetime) -> str:
    return f"{value.astimezone(UTC):%Y-%m-%d %H:%M UTC}"


def _period(scope: ScopeResult) -> str:
    return (
        f"{scope.sections} sections from {scope.groups} coils, welded {_day(scope.first_welded_at)} "
        f"to {_day(scope.last_welded_at)}"
    )


def standing_of(source: DossierSource) -> Standing | None:
    """Where the log says that the model stands; None when it does not name it."""
    return standings(source.log).get(source.evaluation.model_id)


def identification_line(source: DossierSource) -> str:
    """One line for the foot or head of every printed page."""
    shop = f"{plain_text(source.shop)}, " if source.shop else ""
    return (
        f"{shop}dossier of model {source.evaluation.model_id}, digest "
        f"{source.evaluation.model_digest[:16]}, made {_time(source.made_at)}"
    )


def identification_section(source: DossierSource) -> Section:
    """The identification block."""
    result = source.evaluation
    standing = standing_of(source)
    pairs = (
        KeyValue("shop", plain_text(source.shop) if source.shop else "not named in the settings"),
        KeyValue("model", f"{result.model_id}, answers with {candidate_words(result.candidate)}"),
        KeyValue("model digest", result.model_digest, code=True),
        KeyValue("state in the log", standing.state.value if standing else ModelState.CANDIDATE.value),
        KeyValue("classes taught", ", ".join(words(label) for label in result.classes)),
        KeyValue("classes left out", ", ".join(words(label) for label in result.left_out_classes) or "none"),
        KeyValue("recipes taught", ", ".join(plain_text(name) for name in source.card.domain.recipes)),
        KeyValue("held-out data", _period(result.held_out)),
        KeyValue("cross-validated data", _period(result.cross_validated)),
        KeyValue("evaluated", f"{_time(result.evaluated_at)}, with seamtell {result.software_version}"),
        KeyValue("dossier made", f"{_time(source.made_at)}, with seamtell {source.software_version}"),
    )
    return Section("identification", "What this record is of", (KeyValues(pairs),), joined=True)


def digests_section(source: DossierSource) -> Section:
    """Digests of all that the figures rest on, and the versions that made them."""
    result, card = source.evaluation, source.card
    pairs = [
        ("model", result.model_digest),
        ("evaluation.json", source.evaluation_digest),
        ("acceptance.json", source.acceptance_digest),
        ("sections.csv", source.sections_csv_digest),
        ("section table", result.sections_digest),
        ("traces of the sectioned seams", result.traces_digest),
        ("training data", card.data_digest),
        ("descriptor definitions", card.schema_digest),
        ("limits", result.limits_digest),
        ("settings of the evaluation", result.settings_digest),
        ("criteria", source.criteria_digest),
        ("head of the approval log", source.log[-1].digest if source.log else "nothing was signed yet"),
    ]
    digests = Table(
        "digests",
        "SHA-256 of what this record rests on. Whoever holds the files can compute them again.",
        (Column("of", "of"), Column("sha256", "SHA-256")),
        tuple((text_cell(name), text_cell(digest)) for name, digest in pairs),
    )
    versions = card.library_versions.model_dump()
    latest = source.log[-1].environment if source.log else {}
    trained = tuple((text_cell(name.replace("_", "-")), text_cell(value)) for name, value in versions.items())
    return Section(
        "digests",
        "Digests and versions",
        (
            digests,
            Table(
                "versions",
                f"Versions that the model was trained with. Evaluation: seamtell {result.software_version}, "
                f"seed {result.seed}, {result.draws} bootstrap draws of whole coils.",
                (Column("library", "library"), Column("version", "version")),
                trained,
            ),
            *(
                (
                    Table(
                        "versions_signed",
                        "Versions in use when the last entry of the log was signed.",
                        (Column("library", "library"), Column("version", "version")),
                        tuple((text_cell(name), text_cell(value)) for name, value in sorted(latest.items())),
                    ),
                )
                if latest
                else ()
            ),
        ),
        joined=True,
    )


def signing_section(source: DossierSource) -> Section:
    """Who signed what in the log, deviations with their end, and lines to sign on paper."""
    model_id = source.evaluation.model_id
    own = [entry for entry in source.log if entry.model_id == model_id]
    blocks: list[Paragraph | Table | BulletList | SignLines] = [Paragraph(_standing_words(source))]
    if outdated_approval(source):
        blocks.append(Paragraph(outdated_approval(source), Tone.CAUTION))
    if own:
        blocks.append(_log_table(source))
    deviations = [entry.deviation for entry in own if entry.deviation is not None]
    if deviations:
        blocks.append(Paragraph("Deviations:", Tone.CAUTION))
        blocks.append(BulletList(tuple(plain_text(one.sentence, 500) for one in deviations)))
    blocks.append(
        Paragraph(
            "The log is the truth about approval; a signature below is on paper only and changes no state. "
            "A chain of digests cannot show that its end was cut off or written anew: compare the head of "
            "the log with a copy kept elsewhere."
        )
    )
    blocks.append(SignLines(SIGNING_ROLES))
    return Section("sign-off", "Sign-off", tuple(blocks))


def _standing_words(source: DossierSource) -> str:
    standing, result = standing_of(source), source.evaluation
    if standing is None:
        return f"Nobody has approved {result.model_id}: it is a candidate, and the limit rule alone decides."
    entry = standing.last
    text = (
        f"{result.model_id} is {standing.state.value}: {_DONE[entry.action]} by {plain_text(entry.by)} on "
        f"{_time(entry.time)}, entry {entry.seq} of the log. Reason: {plain_text(entry.reason, 500)}"
    )
    return text.removesuffix(".") + "."


def outdated_approval(source: DossierSource) -> str:
    """Why the last approval does not rest on what this record shows; empty where it does."""
    standing, model_id = standing_of(source), source.evaluation.model_id
    if standing is None:
        return ""
    if standing.approval.model_digest != source.evaluation.model_digest:
        return (
            f"entry {standing.approval.seq} of the log approved other bytes of {model_id} than this record "
            "is of"
        )
    if standing.approval.evaluation_digest != source.evaluation_digest:
        return (
            f"entry {standing.approval.seq} of the log approved {model_id} on another evaluation than this "
            "record shows; approve it again on the present one"
        )
    return ""


def _log_table(source: DossierSource) -> Table:
    rows = tuple(
        (
            count_cell(entry.seq),
            text_cell(_time(entry.time)),
            text_cell(entry.action.value),
            text_cell(plain_text(entry.by)),
            text_cell(plain_text(entry.reason, 500)),
            text_cell(entry.deviation.expires.isoformat() if entry.deviation else "none"),
            text_cell("yes" if entry.signature else "no"),
            text_cell(entry.digest[:16]),
        )
        for entry in source.log
        if entry.model_id == source.evaluation.model_id
    )
    columns = (
        Column("entry", "entry", right=True),
        Column("time", "time"),
        Column("action", "action"),
        Column("by", "by"),
        Column("reason", "reason"),
        Column("deviation_expires", "deviation ends"),
        Column("signed_with_key", "signed with a key"),
        Column("digest", "digest, first 16"),
    )
    return Table("log", "Entries of the approval log that name this model.", columns, rows)
