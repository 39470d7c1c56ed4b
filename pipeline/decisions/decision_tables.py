"""Decided batches as Arrow tables: one row per indication, one row per seam.

Text is plain and not encoded by a dictionary, so the same decisions give the same bytes
however the seams were cut into batches.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from seamtell.features.contracts import UNCLASSIFIED
from seamtell.models.answers import NO_CODE, REASONS, Answers
from seamtell.models.verdict import Verdict
from seamtell.pipeline.decisions.answer_table import ANSWER_COLUMNS
from seamtell.pipeline.decisions.decided_batch import DecidedBatch
from seamtell.pipeline.decisions.text_columns import looked_up, member_names
from seamtell.pipeline.files.arrow_arrays import flags, numbers, numbers_or_null, texts

if TYPE_CHECKING:
    import pyarrow as pa

__all__ = [
    "DECISION_COLUMNS",
    "INDICATION_COLUMNS",
    "TRIAL_INDICATION_COLUMNS",
    "TRIAL_LABEL",
    "decision_schema",
    "decision_table",
    "indication_schema",
    "indication_table",
]

TRIAL_LABEL = "trial_label"
"""Column that holds the label of a model on trial."""

INDICATION_COLUMNS: tuple[str, ...] = (
    "seam_id",
    "indication",
    "start_mm",
    "end_mm",
    "peak_mm",
    "exceeds_limit",
    "height_share",
    *ANSWER_COLUMNS,
)
"""Columns of ``indications``, one row per indication."""

TRIAL_INDICATION_COLUMNS: tuple[str, ...] = (
    *(TRIAL_LABEL if name == "label" else name for name in INDICATION_COLUMNS),
    "physics_only",
)
"""The same of a trial run; ``physics_only`` says whether the model was learnt from simulation alone."""

DECISION_COLUMNS: tuple[str, ...] = (
    "seam_id",
    "verdict",
    "limit_verdict",
    "exceeded_channels",
    "indications",
    "unclassified",
    "reason",
    "model_digest",
)
"""Columns of ``decisions``, one row per seam."""


def indication_schema(*, trial: bool = False) -> pa.Schema:
    """Return the columns of ``indications`` with their types."""
    import pyarrow as pa

    text = {"seam_id", "label", TRIAL_LABEL, "label_set", "reason"}
    kinds = {"indication": pa.int64(), "exceeds_limit": pa.bool_(), "physics_only": pa.bool_()}
    kinds.update(dict.fromkeys(text, pa.string()))
    columns = TRIAL_INDICATION_COLUMNS if trial else INDICATION_COLUMNS
    return pa.schema([(name, kinds.get(name, pa.float64())) for name in columns])


def decision_schema() -> pa.Schema:
    """Return the columns of ``decisions`` with their types."""
    import pyarrow as pa

    counted = ("indications", "unclassified")
    return pa.schema([(name, pa.int64() if name in counted else pa.string()) for name in DECISION_COLUMNS])


def indication_table(decided: DecidedBatch, *, trial_of_physics_only: bool | None = None) -> pa.Table:
    """Lay out the answers of a batch, one row per indication, by seam and position.

    Parameters
    ----------
    decided : DecidedBatch
    trial_of_physics_only : bool, optional
        Given for a trial run: whether its model was learnt from simulation alone.

    Returns
    -------
    pyarrow.Table
        `indication_schema`. A number that is not known is null.
    """
    import pyarrow as pa

    found, answers = decided.described, decided.answers
    columns = {
        "seam_id": texts(decided.seam_ids).take(numbers(found.seam)),
        "indication": numbers(found.indication.astype(np.int64)),
        "start_mm": numbers(found.start_mm),
        "end_mm": numbers(found.end_mm),
        "peak_mm": numbers(found.peak_mm),
        "exceeds_limit": flags(decided.exceeds_limit),
        "height_share": numbers(decided.height_share),
        "label": looked_up((*answers.classes, UNCLASSIFIED), answers.codes),
        "label_set": member_names(answers.classes, answers.sets),
        "novelty_p": numbers_or_null(answers.novelty_p),
        "reason": looked_up((*(reason.value for reason in REASONS), ""), answers.reason_codes),
    }
    columns.update(_probability_columns(answers))
    trial = trial_of_physics_only is not None
    if trial:
        columns[TRIAL_LABEL] = columns.pop("label")
        columns["physics_only"] = flags(np.full(len(answers), trial_of_physics_only, dtype=np.bool_))
    schema = indication_schema(trial=trial)
    return pa.Table.from_arrays([columns[name] for name in schema.names], schema=schema)


def decision_table(decided: DecidedBatch, model_digest: str) -> pa.Table:
    """Lay out the verdicts of a batch, one row per seam, in the order given.

    Returns
    -------
    pyarrow.Table
        `decision_schema`.
    """
    import pyarrow as pa

    n, limits, seam = len(decided), decided.limits, decided.described.seam
    unclassified = seam[decided.answers.reason_codes != NO_CODE]
    verdicts = tuple(verdict.text for verdict in Verdict)
    order = np.argsort(np.array(limits.channels, dtype=np.str_))
    names = tuple(limits.channels[c] for c in order)
    columns = {
        "seam_id": texts(decided.seam_ids),
        "verdict": looked_up(verdicts, decided.verdicts),
        "limit_verdict": looked_up(verdicts, limits.verdicts),
        "exceeded_channels": member_names(names, limits.exceeded[:, order]),
        "indications": numbers(np.bincount(seam, minlength=n).astype(np.int64)),
        "unclassified": numbers(np.bincount(unclassified, minlength=n).astype(np.int64)),
        "reason": looked_up(decided.reasons, decided.reason),
        "model_digest": looked_up((model_digest,), np.zeros(n, dtype=np.int8)),
    }
    schema = decision_schema()
    return pa.Table.from_arrays([columns[name] for name in schema.names], schema=schema)


def _probability_columns(answers: Answers) -> dict[str, pa.Array]:
    return {
        f"p_{name}": numbers_or_null(answers.probabilities[:, k]) for k, name in enumerate(answers.classes)
    }
