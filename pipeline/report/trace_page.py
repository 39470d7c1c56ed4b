"""A page of seams, each drawn whole with its indications."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from seamtell.pipeline.report.page import render_page
from seamtell.pipeline.report.palette import words
from seamtell.pipeline.report.section_marks import section_marks
from seamtell.pipeline.report.trace_panel import PanelFrame, draw_panel, highest_pct, shared_scale_pct

if TYPE_CHECKING:
    from pathlib import Path

    import pandas as pd

    from seamtell.features.describer import SeamAnalysis

__all__ = ["DrawnSeam", "trace_page_html", "write_trace_page"]


@dataclass(frozen=True, eq=False)
class DrawnSeam:
    """One seam of the page.

    Parameters
    ----------
    analysis : SeamAnalysis
    caption : str
        What to see in it.
    labels : mapping of int to str
        Label of each indication that has one.
    window_mm : (float, float), optional
        Stretch to draw; default the whole seam.
    verdict : str
        Verdict on the seam, where there is one: reject, review or accept.
    """

    analysis: SeamAnalysis
    caption: str = ""
    labels: Mapping[int, str] = field(default_factory=dict)
    window_mm: tuple[float, float] | None = None
    verdict: str = ""

    def stretch_mm(self) -> tuple[float, float]:
        """The stretch that is drawn; never empty."""
        start, end = self.window_mm or (self.analysis.trace.start_mm, self.analysis.trace.end_mm)
        return (start, end) if end > start else (start - 0.5, end + 0.5)


@dataclass(frozen=True)
class _Panel:
    title: str
    verdict: str
    caption: str
    svg: str


def write_trace_page(
    path: Path,
    title: str,
    lead: str,
    seams: Sequence[DrawnSeam],
    sections: pd.DataFrame | None = None,
    *,
    same_scale: bool = True,
) -> None:
    """Write a page that draws every one of `seams`; see `trace_page_html`."""
    from seamtell.pipeline.files.atomic import write_bytes_atomically

    page = trace_page_html(title, lead, seams, sections, same_scale=same_scale)
    write_bytes_atomically(path, page.encode("utf-8"))


def trace_page_html(
    title: str,
    lead: str,
    seams: Sequence[DrawnSeam],
    sections: pd.DataFrame | None = None,
    *,
    same_scale: bool = True,
) -> str:
    """A page that draws every one of `seams`.

    Parameters
    ----------
    title : str
    lead : str
        The sentence that a reader should take away.
    seams : sequence of DrawnSeam
    sections : DataFrame, optional
        Sections to mark.
    same_scale : bool
        One amplitude scale for all; else each seam its own, which the page says.
    """
    highest = [highest_pct(seam.analysis, seam.stretch_mm()) for seam in seams]
    shared = shared_scale_pct(highest)
    scales = [shared if same_scale else shared_scale_pct([one]) for one in highest]
    panels = [_panel(seam, scale, sections) for seam, scale in zip(seams, scales, strict=True)]
    return render_page(
        "traces.html.j2", title=title, lead=lead, panels=panels, same_scale=same_scale, shared=shared
    )


def _panel(seam: DrawnSeam, scale_pct: float, sections: pd.DataFrame | None) -> _Panel:
    trace = seam.analysis.trace
    found = seam.analysis.indications
    named = [words(seam.labels[i.indication]) for i in found if i.indication in seam.labels]
    beyond = sum(i.exceeds_limit for i in found)
    count = f"{len(found)} indication{'' if len(found) == 1 else 's'}, {beyond} beyond the limit"
    finding = f"Seam {trace.seam_id}: {count}" + (f" ({', '.join(named)})" if named else "")
    svg = draw_panel(
        seam.analysis,
        PanelFrame(seam.stretch_mm(), scale_pct),
        labels=seam.labels,
        sections=section_marks(sections, trace.seam_id),
        name_all_sections=True,
        finding=finding,
    )
    return _Panel(trace.seam_id, seam.verdict, f"{count}. {seam.caption}".strip(), svg)
