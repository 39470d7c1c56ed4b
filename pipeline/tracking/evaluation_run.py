"""What experiment tracking keeps of an evaluation: the headline figures and the reports."""

from __future__ import annotations

from datetime import datetime

from seamtell.pipeline.evaluation.files import EVALUATION_FILE, EVALUATION_PAGE, SECTIONS_FILE
from seamtell.pipeline.evaluation.result import EvaluationResult, Scope
from seamtell.pipeline.settings import Settings
from seamtell.pipeline.tracking.runs import record_evaluation
from seamtell.pipeline.workspace import Workspace

__all__ = ["track_evaluation"]


def track_evaluation(ws: Workspace, settings: Settings, result: EvaluationResult, *, now: datetime) -> bool:
    """Send the headline figures and the reports to the tracking server.

    Returns
    -------
    bool
        False when they wait in the outbox.
    """
    metrics = {}
    for scope in Scope:
        figures = result.scope(scope)
        named = {
            "macro_f1": figures.macro_f1,
            "macro_f1_with_abstention": figures.macro_f1_with_abstention,
            "kappa": figures.kappa,
            "log_loss": figures.log_loss,
            "abstention": figures.abstention,
            "missed": figures.missed,
            **{f"recall_{one.label}": one.recall for one in figures.per_class},
        }
        for name, figure in named.items():
            bounds = {"": figure.estimate, ".low": figure.low, ".high": figure.high}
            metrics.update({f"{scope}.{name}{end}": v for end, v in bounds.items() if v is not None})
    folder = ws.reports_dir / result.model_id
    files = {name: folder / name for name in (EVALUATION_FILE, SECTIONS_FILE, EVALUATION_PAGE)}
    digests = {"sections": result.sections_digest, "limits": result.limits_digest}
    return record_evaluation(
        ws, settings, result.model_id, metrics=metrics, files=files, now=now, digests=digests
    )
