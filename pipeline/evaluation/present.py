"""Whether an evaluation is of what the workspace holds today."""

from __future__ import annotations

import pandas as pd

from seamtell.pipeline.errors import Refused
from seamtell.pipeline.evaluation.files import EVALUATION_FILE
from seamtell.pipeline.evaluation.result import EvaluationResult
from seamtell.pipeline.labelled import sections_digest, traces_digest
from seamtell.pipeline.limits_file import read_limits
from seamtell.pipeline.settings import Settings, evaluation_settings_digest
from seamtell.pipeline.store.seam_store import SeamStore
from seamtell.pipeline.workspace import Workspace

__all__ = ["check_present"]


def check_present(
    ws: Workspace,
    settings: Settings,
    result: EvaluationResult,
    model_id: str,
    digest: str,
    sections: pd.DataFrame,
    *,
    then: str = "",
) -> None:
    """Refuse an evaluation of another model, or on data, limits or settings that changed since.

    Parameters
    ----------
    digest : str
        Of the model's folder, today.
    sections : pandas.DataFrame
        The store of sections.
    then : str
        What to do after evaluating again.

    Raises
    ------
    Refused
        Names everything that changed.
    """
    seams = SeamStore(ws.traces_dir).metadata()
    seams = seams[seams["seam_id"].isin(frozenset(sections["seam_id"]))]
    pairs = (
        ("model", result.model_digest if result.model_id == model_id else "", digest),
        ("sections", result.sections_digest, sections_digest(sections)),
        ("traces of the sectioned seams", result.traces_digest, traces_digest(seams)),
        ("limits", result.limits_digest, read_limits(ws.limits_path).digest),
        ("settings", result.settings_digest, evaluation_settings_digest(settings)),
    )
    changed = [name for name, before, today in pairs if before != today]
    if changed:
        raise Refused(
            f"the evaluation is not of the present {' and '.join(changed)}",
            where=str(ws.reports_dir / model_id / EVALUATION_FILE),
            do=f"run 'seamtell evaluate {model_id}' again{then}",
        )
