"""What is found at all: probability of detection over flaw size, or why no curve can be drawn."""

from __future__ import annotations

from seamtell.pipeline.acceptance.record import Detection
from seamtell.pipeline.acceptance.sample_size import demonstration_table
from seamtell.pipeline.dossier.cells import (
    count_cell,
    label_cell,
    none_cell,
    number_cell,
    text_cell,
)
from seamtell.pipeline.dossier.content import (
    Block,
    BulletList,
    Cell,
    Column,
    Figure,
    FigureGrid,
    Heading,
    Paragraph,
    Section,
    Table,
    Tone,
)
from seamtell.pipeline.dossier.pod_figure import draw_detection
from seamtell.pipeline.dossier.source import DossierSource
from seamtell.pipeline.report.palette import flaw_mark, words
from seamtell.pipeline.report.plain_text import safe_slug

__all__ = ["detection_section"]

_DETECTORS = {
    "specular": "an indication on the specular channel",
    "scatter": "an indication on the scatter channel",
    "either": "an indication on either channel",
    "limit_rule": "the limit rule",
}


def _by(detector: str) -> str:
    return _DETECTORS.get(detector, words(detector))


def _fitted(found: Detection) -> bool:
    return bool(found.sizes_mm)


def detection_section(source: DossierSource) -> Section:
    """POD curves with their data; where none can be drawn, the reason in words."""
    every = source.acceptance.detection
    blocks: list[Block] = [
        Paragraph(
            "Hit or miss of each sized flaw over its size. Marks above the curve are flaws that were hit, "
            "open marks below it flaws that were missed; solid line: the fitted probability of detection; "
            "dashed line: its lower 95 % bound; dotted line: the curve of the other link, logit or probit. "
            "a90 is the size found nine times in ten as estimated, a90/95 the size for which that holds with "
            "95 % confidence. Where both links give a curve, that with the larger a90/95 is drawn in full. "
            "Most sections were cut where something showed, which flatters every curve here."
        )
    ]
    if not every:
        blocks.append(Paragraph("No detection statistics were computed.", Tone.UNKNOWN))
    for label, size in dict.fromkeys((one.label, one.size) for one in every):
        blocks.extend(
            _class_blocks(label, size, [one for one in every if (one.label, one.size) == (label, size)])
        )
    if every:
        blocks.extend(
            (
                _detection_table("pod_figures", tuple(one for one in every if _fitted(one)), file_only=False),
                _detection_table("detection", every, file_only=True),
                _points_table(every),
                _curves_table(every),
            )
        )
    blocks.append(_demonstration())
    return Section("detection", "Probability of detection over flaw size", tuple(blocks))


def _demonstration() -> Table:
    """How many flaws of one size it takes where no curve can be had."""
    columns = (
        Column("misses", "misses allowed", right=True),
        Column("flaws", "flaws to cut", right=True),
        Column("hits", "of them to be indicated", right=True),
    )
    rows = demonstration_table()
    return Table(
        "pod_demonstration",
        "Without a curve: flaws of one size or larger that demonstrate a POD of 0.90 with 95 % confidence "
        "(exact binomial). The misses allowed are fixed before the first flaw is cut.",
        columns,
        tuple((count_cell(row.misses), count_cell(row.flaws), count_cell(row.hits)) for row in rows),
    )


def _class_blocks(label: str, size: str, every: list[Detection]) -> list[Block]:
    what = f"{words(label)}, by {size.removesuffix('_mm')}"
    blocks: list[Block] = [Heading(what[:1].upper() + what[1:])]
    top = 1.05 * max((point.size_mm for one in every for point in one.points), default=1.0) or 1.0
    figures: list[Figure] = []
    refusals: dict[str, list[str]] = {}
    doubts: list[str] = []
    for detector in dict.fromkeys(one.detector for one in every):
        links = [one for one in every if one.detector == detector]
        fitted = sorted((one for one in links if _fitted(one)), key=_conservative)
        if not fitted:
            refusals.setdefault(_reasons(links), []).append(_by(detector))
            continue
        figures.append(_detection_figure(fitted, top))
        doubts += [f"{_by(detector)}: {concern.text}" for concern in fitted[0].concerns]
        doubts += [
            f"no {one.link} curve by {_by(detector)}: {_reasons([one])}" for one in links if not _fitted(one)
        ]
    if figures:
        blocks.append(
            FigureGrid(
                f"{flaw_mark(label).glyph} {words(label)}: every panel 0 to {top:.3g} mm.", tuple(figures)
            )
        )
    for text, detectors in refusals.items():
        by = "; by ".join(detectors)
        blocks.append(Paragraph(f"No curve by {by}: {text}", Tone.UNKNOWN))
    if doubts:
        blocks.append(BulletList(tuple(_sentence(text) for text in doubts)))
    return blocks


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:].removesuffix('.')}."


def _conservative(found: Detection) -> float:
    """Order in which the first is the curve that promises least."""
    return -(found.a90_95_mm if found.a90_95_mm is not None else float("inf"))


def _hits(found: Detection) -> str:
    hits = sum(1 for point in found.points if point.hit)
    return f"{len(found.points)} sized flaws, {hits} hit, {len(found.points) - hits} missed"


def _reasons(links: list[Detection]) -> str:
    reasons = list(
        dict.fromkeys(concern.text for one in links for concern in one.concerns if concern.refusal)
    )
    return f"{'; '.join(reasons) or 'none was fitted'} ({_hits(links[0])})."


def _detection_figure(fitted: list[Detection], top_mm: float) -> Figure:
    def size(value: float | None) -> str:
        return "not given" if value is None else f"{value:.2f} mm"

    found, others = fitted[0], fitted[1:]
    name = f"pod_{safe_slug(found.label)}_{safe_slug(found.detector)}_{safe_slug(found.size)}"
    by = _by(found.detector)
    sentence = (
        f"{by[:1].upper()}{by[1:]}: {_hits(found)}; {found.link}, a90 {size(found.a90_mm)}, a90/95 "
        f"{size(found.a90_95_mm)}{', penalised fit' if found.penalised else ''}."
    )
    alt = f"{words(found.label).capitalize()}. {sentence}"
    svg = draw_detection(found, top_mm, name, alt, others=others)
    return Figure(name, sentence, alt, svg, table="detection_points")


def _detection_table(name: str, every: tuple[Detection, ...], *, file_only: bool) -> Table:
    columns = (
        Column("label", "class"),
        Column("detector", "detected by"),
        Column("size", "size"),
        Column("flaws", "sized flaws", right=True),
        Column("hits", "hit", right=True),
        Column("without_size", "without a size", right=True),
        Column("link", "link"),
        Column("penalised", "penalised"),
        Column("a50_mm", "a50, mm", right=True),
        Column("a90_mm", "a90, mm", right=True),
        Column("a90_95_mm", "a90/95, mm", right=True),
        Column("fit_p", "fit, p", right=True),
        Column("asymptote", "upper asymptote", right=True),
    )
    caption = (
        "Every curve asked for, those refused as well."
        if file_only
        else "The curves in figures. A small p speaks against the form of the curve. Hatched: not given; the "
        "reason stands above."
    )
    rows = tuple(_detection_row(one) for one in every)
    return Table(name, caption, columns, rows, file_only=file_only)


def _detection_row(found: Detection) -> tuple[Cell, ...]:
    none = "not given" if _fitted(found) else "refused"
    return (
        label_cell(found.label),
        Cell(words(found.detector), found.detector),
        text_cell(found.size.removesuffix("_mm")),
        count_cell(len(found.points)),
        count_cell(sum(1 for point in found.points if point.hit)),
        count_cell(found.sections_without_size),
        text_cell(found.link),
        text_cell("yes" if found.penalised else "no"),
        number_cell(found.a50_mm, 2, none),
        number_cell(found.a90_mm, 2, none),
        number_cell(found.a90_95_mm, 2, none),
        none_cell("none") if found.fit_p is None else number_cell(found.fit_p, 3),
        none_cell("none") if found.asymptote is None else number_cell(found.asymptote, 2),
    )


def _points_table(every: tuple[Detection, ...]) -> Table:
    columns = (
        Column("label", "class"),
        Column("detector", "detected by"),
        Column("size", "size"),
        Column("link", "link"),
        Column("section_id", "section"),
        Column("size_mm", "size, mm", right=True),
        Column("hit", "hit", right=True),
    )
    rows = tuple(
        (
            label_cell(one.label),
            text_cell(one.detector),
            text_cell(one.size),
            text_cell(one.link),
            text_cell(point.section_id),
            number_cell(point.size_mm, 3),
            count_cell(int(point.hit)),
        )
        for one in every
        for point in one.points
    )
    return Table("detection_points", "Every sized flaw, hit or missed.", columns, rows, file_only=True)


def _curves_table(every: tuple[Detection, ...]) -> Table:
    columns = (
        Column("label", "class"),
        Column("detector", "detected by"),
        Column("size", "size"),
        Column("link", "link"),
        Column("size_mm", "size, mm", right=True),
        Column("pod", "POD", right=True),
        Column("pod_low", "lower 95 % bound", right=True),
    )
    rows = []
    for one in every:
        lows: tuple[float | None, ...] = one.pod_low or (None,) * len(one.sizes_mm)
        for size, pod, low in zip(one.sizes_mm, one.pod, lows, strict=True):
            numbers = (number_cell(size, 3), number_cell(pod, 4), number_cell(low, 4))
            names = (label_cell(one.label), text_cell(one.detector), text_cell(one.size), text_cell(one.link))
            rows.append((*names, *numbers))
    return Table("detection_curves", "The curves as they are drawn.", columns, tuple(rows), file_only=True)
