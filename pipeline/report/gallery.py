"""Sections drawn in groups that share one scale: the wrong, the missed, the unanswered."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

from seamtell.features.contracts import UNCLASSIFIED
from seamtell.models.reasons import Reason
from seamtell.pipeline.evaluation.result import MISSED, Outcome
from seamtell.pipeline.report.palette import words
from seamtell.pipeline.report.section_marks import SectionMark, section_marks
from seamtell.pipeline.report.trace_panel import PanelFrame, draw_panel, highest_pct, shared_scale_pct

if TYPE_CHECKING:
    import pandas as pd

    from seamtell.features.describer import SeamAnalysis

__all__ = ["WINDOW_MM", "GalleryGroup", "GalleryPanel", "abstention_groups", "error_groups"]

WINDOW_MM = 60.0
"""Seam drawn to either side of a section."""


@dataclass(frozen=True)
class GalleryPanel:
    """One section with its trace."""

    section_id: str
    seam_id: str
    caption: str
    svg: str


@dataclass(frozen=True)
class GalleryGroup:
    """Sections of one kind of outcome; all panels share the amplitude scale."""

    heading: str
    ceiling_pct: float
    panels: tuple[GalleryPanel, ...]


@dataclass(frozen=True)
class _Row:
    section_id: str
    seam_id: str
    position_mm: float
    truth: str
    answer: str
    caption: str
    labels: Mapping[int, str]


def error_groups(
    sections: pd.DataFrame, seam_analysis: Callable[[str], SeamAnalysis]
) -> tuple[GalleryGroup, ...]:
    """Every wrong and every missed section, grouped by truth and answer, the largest group first."""
    errors = sections[sections["outcome"].isin([Outcome.WRONG.value, Outcome.MISSED.value])]
    return _groups(errors, sections, seam_analysis, ["truth", "answer"], _error_heading)


def abstention_groups(
    sections: pd.DataFrame, seam_analysis: Callable[[str], SeamAnalysis]
) -> tuple[GalleryGroup, ...]:
    """Every section whose indication got no label, grouped by reason."""
    unanswered = sections[sections["outcome"] == Outcome.ABSTAINED.value]
    return _groups(
        unanswered, sections, seam_analysis, ["reason"], lambda key: words(key[0]) or "no reason given"
    )


def _error_heading(key: tuple[str, ...]) -> str:
    truth, answer = key
    if answer == MISSED:
        return f"{words(truth)}, missed: no indication at the section"
    return f"{words(truth)}, answered {words(answer)}"


def _groups(
    chosen: pd.DataFrame,
    sections: pd.DataFrame,
    seam_analysis: Callable[[str], SeamAnalysis],
    by: list[str],
    heading: Callable[[tuple[str, ...]], str],
) -> tuple[GalleryGroup, ...]:
    # Several sections may lie on one seam; a whole shop must not stay in memory.
    analyse = lru_cache(maxsize=64)(seam_analysis)
    text = chosen.assign(**{name: chosen[name].fillna("").astype(str) for name in by})
    groups = []
    for key, rows in text.groupby(by, sort=True):
        panels, ceiling = _panels(rows.sort_values("section_id"), sections, analyse)
        groups.append(GalleryGroup(heading(tuple(str(part) for part in key)), ceiling, panels))
    return tuple(sorted(groups, key=lambda group: -len(group.panels)))


def _panels(
    rows: pd.DataFrame, sections: pd.DataFrame, analyse: Callable[[str], SeamAnalysis]
) -> tuple[tuple[GalleryPanel, ...], float]:
    read = [_read(row) for _, row in rows.iterrows()]
    windows = [(row.position_mm - WINDOW_MM, row.position_mm + WINDOW_MM) for row in read]
    analyses = [analyse(row.seam_id) for row in read]
    ceiling = shared_scale_pct(
        [highest_pct(analysis, window) for analysis, window in zip(analyses, windows, strict=True)]
    )
    panels = []
    for row, analysis, window in zip(read, analyses, windows, strict=True):
        marks = section_marks(sections, row.seam_id)
        svg = draw_panel(
            analysis,
            PanelFrame(window, ceiling),
            labels=row.labels,
            sections=_first(marks, row.section_id),
            finding=f"Seam {row.seam_id}, section {row.section_id} at {row.position_mm:.1f} mm: "
            f"{row.caption}",
        )
        panels.append(GalleryPanel(row.section_id, row.seam_id, row.caption, svg))
    return tuple(panels), ceiling


def _first(marks: Sequence[SectionMark], section_id: str) -> tuple[SectionMark, ...]:
    return tuple(sorted(marks, key=lambda mark: mark.section_id != section_id))


def _read(row: pd.Series) -> _Row:
    truth, answer = str(row["truth"]), str(row["answer"])
    matched = _number(row["indication"])
    caption = f"truth {words(truth)}"
    if answer == MISSED:
        caption += ", no indication"
    else:
        caption += f", answer {words(answer)}"
        top, probability = row.get("top_label"), _number(row.get("top_probability"))
        if probability is not None and isinstance(top, str) and top:
            of = "" if top == answer else f"{words(top)} "
            caption += f" ({of}p = {probability:.2f})"
    if answer == UNCLASSIFIED:
        labels = row.get("label_set")
        if isinstance(labels, str) and labels:
            caption += f"; set: {words(labels).replace('+', ' or ')}"
        elif row.get("reason") == Reason.AMBIGUOUS:
            caption += "; no label of the model fits"
    return _Row(
        section_id=str(row["section_id"]),
        seam_id=str(row["seam_id"]),
        position_mm=float(row["position_mm"]),
        truth=truth,
        answer=answer,
        caption=caption,
        labels={} if matched is None else {int(matched): answer},
    )


def _number(value: object) -> float | None:
    """The value as a number; None where the cell is empty, however pandas spells that."""
    try:
        number = float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError):
        return None
    return None if number != number else number
