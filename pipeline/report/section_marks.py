"""Section positions as they are drawn on a trace."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from seamtell.pipeline.report.palette import words

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["SectionMark", "section_marks"]


@dataclass(frozen=True)
class SectionMark:
    """One destructive section: a triangle on the position axis with a bar for its tolerance.

    Parameters
    ----------
    section_id : str
    position_mm, tolerance_mm : float
    truth : str
        What the section found, in words.
    """

    section_id: str
    position_mm: float
    tolerance_mm: float
    truth: str


def section_marks(sections: pd.DataFrame | None, seam_id: str) -> tuple[SectionMark, ...]:
    """Marks of the sections of one seam, in order of position.

    Parameters
    ----------
    sections : DataFrame or None
        The section table (``flaw``, ``position_tol_mm``) or sections matched to
        indications (``truth``, ``tolerance_mm``).
    seam_id : str
    """
    if sections is None or len(sections) == 0:
        return ()
    truth = "truth" if "truth" in sections.columns else "flaw"
    tolerance = "tolerance_mm" if "tolerance_mm" in sections.columns else "position_tol_mm"
    own = sections[sections["seam_id"] == seam_id].sort_values(["position_mm", "section_id"])
    columns = zip(own["section_id"], own["position_mm"], own[tolerance], own[truth], strict=True)
    return tuple(
        SectionMark(str(name), float(position), float(width), words(str(flaw)))
        for name, position, width, flaw in columns
    )
