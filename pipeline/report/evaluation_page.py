"""The evaluation as one HTML file that opens from disk."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from seamtell.pipeline.evaluation.result import Scope
from seamtell.pipeline.report.csv_link import csv_data_uri
from seamtell.pipeline.report.gallery import GalleryGroup, abstention_groups, error_groups
from seamtell.pipeline.report.matrix_view import FEW, MatrixView, matrix_view
from seamtell.pipeline.report.page import render_page
from seamtell.pipeline.report.reliability_plot import draw_reliability, reliability_finding
from seamtell.pipeline.report.verdict_sentence import candidate_words, verdict_sentence

if TYPE_CHECKING:
    from pathlib import Path

    import pandas as pd

    from seamtell.features.describer import SeamAnalysis
    from seamtell.pipeline.evaluation.result import Estimate, EvaluationResult, ScopeResult

__all__ = ["ScopeView", "evaluation_html", "write_evaluation_page"]

_SCOPE_NAMES = {
    Scope.HELD_OUT: "held-out sections",
    Scope.CROSS_VALIDATED: "cross-validated sections",
}
_SCOPE_MEANINGS = {
    Scope.HELD_OUT: "the newest sections, from coils that no training saw",
    Scope.CROSS_VALIDATED: "the training sections, each answered by a model that did not see its coil",
}


@dataclass(frozen=True)
class ScopeView:
    """One set of sections, arranged for the page."""

    key: str
    name: str
    meaning: str
    figures: ScopeResult
    matrix: MatrixView
    reliability_svg: str
    reliability_finding: str
    errors: tuple[GalleryGroup, ...]
    abstentions: tuple[GalleryGroup, ...]


def write_evaluation_page(
    result: EvaluationResult,
    sections: pd.DataFrame,
    seam_analysis: Callable[[str], SeamAnalysis],
    path: Path,
    sign_off: str = "",
) -> None:
    """Write the report of one evaluation.

    Parameters
    ----------
    result : EvaluationResult
    sections : DataFrame
        The rows of ``sections.csv``.
    seam_analysis : callable
        From a seam id to its analysed trace; asked for every section that is drawn.
    path : Path
        Of the HTML file; replaced as a whole.
    sign_off : str
        What a reader must know of how the model was approved; empty for nothing.
    """
    from seamtell.pipeline.files.atomic import write_bytes_atomically

    write_bytes_atomically(path, evaluation_html(result, sections, seam_analysis, sign_off).encode("utf-8"))


def evaluation_html(
    result: EvaluationResult,
    sections: pd.DataFrame,
    seam_analysis: Callable[[str], SeamAnalysis],
    sign_off: str = "",
) -> str:
    """The page of `write_evaluation_page` as text."""
    scopes = tuple(_view(result.scope(scope), sections, seam_analysis) for scope in Scope)
    return render_page(
        "evaluation.html.j2",
        result=result,
        sign_off=sign_off,
        verdict=verdict_sentence(result),
        scopes=scopes,
        held_out=scopes[0],
        csv_uri=csv_data_uri(sections),
        candidate_words=candidate_words,
        few=FEW,
        importance_top=_top([d.log_loss_increase for d in result.descriptors]),
        family_top=_top([f.log_loss_increase for f in result.families]),
        identification=f"model {result.model_id}, digest {result.model_digest[:16]}",
    )


def _top(estimates: Sequence[Estimate]) -> float:
    """Upper end of a scale that holds all `estimates` with their intervals."""
    ends = [e.high if e.high is not None else e.estimate for e in estimates if e.estimate is not None]
    return max([end for end in ends if end is not None and end > 0], default=1.0)


def _view(
    figures: ScopeResult, sections: pd.DataFrame, seam_analysis: Callable[[str], SeamAnalysis]
) -> ScopeView:
    own = sections[sections["scope"] == figures.scope.value]
    return ScopeView(
        key=figures.scope.value.replace("_", "-"),
        name=_SCOPE_NAMES[figures.scope],
        meaning=_SCOPE_MEANINGS[figures.scope],
        figures=figures,
        matrix=matrix_view(figures.matrix, figures.per_class),
        reliability_svg=draw_reliability(figures.reliability),
        reliability_finding=reliability_finding(figures.reliability),
        errors=error_groups(own, seam_analysis),
        abstentions=abstention_groups(own, seam_analysis),
    )
