"""What experiment tracking keeps of a training."""

from __future__ import annotations

import hashlib
import io
from dataclasses import asdict
from datetime import datetime
from typing import TYPE_CHECKING

from seamtell.models.labelled_table import LabelledTable
from seamtell.pipeline.labelled import Labelled
from seamtell.pipeline.settings import Settings
from seamtell.pipeline.tracking.runs import PHYSICS_ONLY_TAG, RunRecord
from seamtell.pipeline.version import software_version

if TYPE_CHECKING:
    from collections.abc import Sequence

    from seamtell.models.model_card import ModelCard
    from seamtell.models.training import CandidateScore, PhysicsOnlyResult, TrainingResult

__all__ = ["candidate_figure", "physics_only_run", "training_run"]


def training_run(
    model_id: str,
    digest: str,
    settings: Settings,
    labelled: Labelled,
    result: TrainingResult,
    table: LabelledTable,
    *,
    settings_bytes: bytes,
    now: datetime,
) -> RunRecord:
    """Collect parameters, figures, digests and files of one training.

    Parameters
    ----------
    table : LabelledTable
        What the model was trained on.
    settings_bytes : bytes
        The settings file as it was.
    """
    scores = tuple(result.candidate_table)
    card = result.model.card
    return RunRecord(
        model_id=model_id,
        model_digest=digest,
        recorded_at=now,
        params=_params(settings, card),
        metrics=_metrics(scores, card, sections=len(table)),
        digests={
            **_digests(card, settings_bytes),
            "sections_digest": labelled.sections_digest,
            "traces_digest": labelled.traces_digest,
        },
        files=_files(scores, card, settings_bytes),
    )


def physics_only_run(
    model_id: str,
    digest: str,
    settings: Settings,
    result: PhysicsOnlyResult,
    *,
    settings_bytes: bytes,
    now: datetime,
) -> RunRecord:
    """Collect the same of a training on simulation alone, tagged ``physics_only``."""
    scores, card = result.candidate_table, result.model.card
    return RunRecord(
        model_id=model_id,
        model_digest=digest,
        recorded_at=now,
        params=_params(settings, card),
        metrics=_metrics(scores, card, sections=0),
        digests={**_digests(card, settings_bytes), PHYSICS_ONLY_TAG: "true"},
        files=_files(scores, card, settings_bytes),
    )


def _params(settings: Settings, card: ModelCard) -> dict[str, str]:
    params = {
        **{name: str(value) for name, value in settings.train.model_dump(mode="json").items()},
        "chosen": card.chosen,
        "classes": ", ".join(card.classes),
        "left_out_classes": ", ".join(card.left_out_classes),
        "descriptors": str(len(card.descriptor_names)),
    }
    if card.physics is not None:
        params["physics"] = card.physics.origin
        params["physics_only"] = str(card.physics_only).lower()
        params["theory_version"] = card.physics.theory_version
        params.update(
            {f"{name}.simulated_weight": f"{w:g}" for name, w in sorted(card.physics.weights.items())}
        )
    return params


def _metrics(scores: Sequence[CandidateScore], card: ModelCard, *, sections: int) -> dict[str, float]:
    metrics = {"sections": float(sections)}
    for score in scores:
        metrics[f"{score.name}.log_loss"] = score.log_loss
        metrics[f"{score.name}.log_loss_standard_error"] = score.standard_error
        metrics[f"{score.name}.macro_f1"] = score.macro_f1
    if card.physics is not None:
        metrics["simulated_flaws"] = float(sum(card.physics.flaws_per_class))
    return metrics


def _digests(card: ModelCard, settings_bytes: bytes) -> dict[str, str]:
    digests = {
        "data_digest": card.data_digest,
        "settings_digest": hashlib.sha256(settings_bytes).hexdigest(),
        "schema_digest": card.schema_digest,
        "software_version": software_version(),
    }
    if card.physics is not None:
        digests["physics_digest"] = card.physics.physics_digest
        digests["simulated_digest"] = card.physics.simulated_digest
    return digests


def _files(scores: Sequence[CandidateScore], card: ModelCard, settings_bytes: bytes) -> dict[str, bytes]:
    return {
        "training/candidates.svg": candidate_figure(scores),
        "training/candidates.csv": _candidate_csv(scores),
        "training/settings.toml": settings_bytes,
        "training/card.json": (card.model_dump_json(indent=2) + "\n").encode("utf-8"),
    }


def candidate_figure(scores: Sequence[CandidateScore]) -> bytes:
    """Draw the cross-validated log loss of each candidate with one standard error, as SVG.

    The dashed line is the best loss plus its standard error: the simplest candidate left of
    it is the chosen one (Hastie, Tibshirani and Friedman, The Elements of Statistical
    Learning, 2nd edition, section 7.10).
    """
    from matplotlib import rc_context
    from matplotlib.figure import Figure

    with rc_context({"svg.hashsalt": "seamtell", "svg.fonttype": "none"}):
        figure = Figure(figsize=(6.0, 0.8 + 0.4 * len(scores)), layout="constrained")
        axes = figure.add_subplot()
        for row, score in enumerate(scores):
            axes.errorbar(
                score.log_loss,
                row,
                xerr=score.standard_error,
                fmt="s" if score.chosen else "o",
                color="#222222",
                markerfacecolor="#222222" if score.chosen else "white",
                capsize=3,
                linewidth=1.2,
            )
        best = min(scores, key=lambda score: score.log_loss)
        axes.axvline(best.log_loss + best.standard_error, color="#8A8A8A", linestyle="--", linewidth=1.0)
        axes.set_yticks(range(len(scores)), [f"{s.name} (chosen)" if s.chosen else s.name for s in scores])
        axes.invert_yaxis()
        axes.set_xlabel("cross-validated log loss in nats, with one standard error")
        for side in ("top", "right"):
            axes.spines[side].set_visible(False)
        buffer = io.BytesIO()
        figure.savefig(buffer, format="svg", metadata={"Date": None, "Creator": None})
    return buffer.getvalue()


def _candidate_csv(scores: Sequence[CandidateScore]) -> bytes:
    import pandas as pd

    table = pd.DataFrame([asdict(score) for score in scores])
    return table.to_csv(index=False, lineterminator="\n", float_format="%.17g").encode("utf-8")
