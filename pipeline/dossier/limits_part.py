"""Limits of use and cautions: what this record does not cover."""

from __future__ import annotations

from seamtell.pipeline.console import CAUTION
from seamtell.pipeline.dossier.content import Block, BulletList, Heading, Paragraph, Section, Tone
from seamtell.pipeline.dossier.identity_part import outdated_approval, standing_of
from seamtell.pipeline.dossier.source import DossierSource
from seamtell.pipeline.report.palette import words
from seamtell.pipeline.report.plain_text import plain_text

__all__ = ["cautions", "cautions_section", "limits_section"]


def cautions(source: DossierSource) -> tuple[str, ...]:
    """What must be read before any figure: the usual caution, deviations, implausible figures."""
    standing = standing_of(source)
    deviation = standing.approval.deviation if standing else None
    outdated = outdated_approval(source)
    texts = (
        CAUTION.removeprefix("caution: "),
        *((plain_text(deviation.sentence, 500),) if deviation else ()),
        *((outdated,) if outdated else ()),
        *(plain_text(text, 500) for text in source.acceptance.warnings),
    )
    return tuple(f"{text.removesuffix('.')}." for text in texts)


def limits_section(source: DossierSource) -> Section:
    """Where the model may speak at all."""
    card, result = source.card, source.evaluation
    left_out = ", ".join(words(label) for label in result.left_out_classes)
    recipes = ", ".join(plain_text(name) for name in card.domain.recipes)
    items = [
        f"It was taught {', '.join(words(label) for label in result.classes)}"
        f"{f'; not {left_out}, of which too few sections are known' if left_out else ''}. A flaw of another "
        "kind gets a wrong name or none.",
        f"It was taught the recipes {recipes}, and answers nothing for any other.",
        f"An indication unlike the sections of the training (novelty p below {card.novelty_threshold_p:.3g}) "
        "gets no label.",
        f"A label is given only where the set of labels that cannot be ruled out at an error rate of "
        f"{card.error_rate:g} holds exactly one.",
        "The label never releases a seam. The limit rule decides on acceptance, with this model or without "
        "it; the model may only ask for a review.",
        "Intervals hold for sections chosen like these. They do not cover a process, a head or a material "
        "that changes afterwards.",
        "The truth comes from destructive sections. A cut beside the flaw, or two examiners who disagree, "
        "counts here as an error of the model.",
        "Borders between classes are real: a short lack of fusion and an edge notch of the same depth are "
        "one flaw under two names.",
        "New sections, limits, settings or bytes of the model make this record out of date; evaluate again.",
    ]
    blocks: list[Block] = [BulletList(tuple(items))]
    if card.physics is not None:
        blocks.append(
            Paragraph(
                f"Simulated flaws ({card.physics.origin}) joined the training; no figure of this record "
                "rests on a simulated flaw."
            )
        )
    return Section("limits", "Limits of use", tuple(blocks), joined=True)


def cautions_section(source: DossierSource) -> Section:
    """Cautions, and the notes of evaluation and training."""
    blocks: list[Block] = [Paragraph(text, Tone.CAUTION) for text in cautions(source)]
    if source.evaluation.notes:
        blocks += [
            Heading("Notes of the evaluation"),
            BulletList(tuple(plain_text(note, 500) for note in source.evaluation.notes)),
        ]
    if source.card.warnings:
        blocks += [
            Heading("Warnings of the training"),
            BulletList(tuple(plain_text(text, 500) for text in source.card.warnings)),
        ]
    return Section("cautions", "Cautions", tuple(blocks), joined=True)
