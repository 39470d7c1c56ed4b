"""The approved model, if it can be trusted; else the reason why the limit rule decides alone."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from seamtell.features.descriptors import registry
from seamtell.features.errors import SeamtellError
from seamtell.models.errors import ModelRefused
from seamtell.models.reasons import Reason
from seamtell.pipeline.settings import Settings
from seamtell.pipeline.sign_off.approval_log import ApprovedModel, approved_model
from seamtell.pipeline.sign_off.log_entry import Deviation
from seamtell.pipeline.sign_off.proof import doubt_of_approval
from seamtell.pipeline.verified_model import load_model_for_trial
from seamtell.pipeline.workspace import Workspace

if TYPE_CHECKING:
    from seamtell.models.answers import Answerer
    from seamtell.models.flaw_model import FlawModel
    from seamtell.models.physics_only_model import PhysicsOnlyModel

__all__ = ["TrustedModel", "model_on_trial", "trusted_model"]


@dataclass(frozen=True, eq=False)
class TrustedModel:
    """A model that may label production, or none and why.

    Parameters
    ----------
    model : Answerer or None
    model_id, digest : str
        Of the model that labels; empty when none does.
    columns : tuple of int
        Where the model's descriptors stand among all descriptors, in the model's order.
    reason : Reason or None
        Why there is none.
    explanation : str
        The same for a person: what is wrong, where, what to do.
    deviation : Deviation or None
        The model was approved against failed criteria, for a time.
    recipes : frozenset of str or None
        That the model was trained on; None where that is not known.
    """

    model: Answerer | None
    model_id: str = ""
    digest: str = ""
    columns: tuple[int, ...] = ()
    reason: Reason | None = None
    explanation: str = ""
    deviation: Deviation | None = None
    recipes: frozenset[str] | None = None

    @classmethod
    def of(
        cls,
        model: FlawModel | PhysicsOnlyModel,
        model_id: str,
        digest: str,
        deviation: Deviation | None = None,
    ) -> TrustedModel:
        """A model that was loaded, and whose descriptors are all computed here."""
        places = {name: place for place, name in enumerate(registry.names())}
        return cls(
            model,
            model_id,
            digest,
            tuple(places[name] for name in model.card.descriptor_names),
            deviation=deviation,
            recipes=frozenset(model.card.domain.recipes),
        )


def model_on_trial(ws: Workspace, model_id: str) -> tuple[TrustedModel, bool]:
    """Load a model that nobody approved, for a trial run, and say whether it is physics-only.

    Raises
    ------
    BadInput
        No such model.
    Refused
        The folder differs from what training saved, or another version of the descriptors made it.
    """
    model, digest = load_model_for_trial(ws, model_id)
    return TrustedModel.of(model, model_id, digest), model.card.physics_only


def trusted_model(ws: Workspace, *, settings: Settings, limits_digest: str, now: datetime) -> TrustedModel:
    """Load the approved model and check it against the log, what its approval rests on, and the descriptors.

    Never raises for a model or log that cannot be trusted: production goes on under the
    limit rule, and every indication carries the reason.

    Parameters
    ----------
    settings : Settings
        In use.
    limits_digest : str
        Of the limit file in use.
    now : datetime
        Timezone-aware.
    """
    try:
        approved = approved_model(ws)
    except SeamtellError as problem:
        return _none(Reason.NO_APPROVED_MODEL, str(problem))
    if approved is None:
        return _none(
            Reason.NO_APPROVED_MODEL,
            "no model is approved. To do: run 'seamtell approve MODEL --by NAME --reason TEXT'",
        )
    doubt = doubt_of_approval(ws, approved, settings, limits_digest, now)
    if doubt is not None:
        return _none(doubt.reason, doubt.explanation)
    return _load(ws, approved)


def _load(ws: Workspace, approved: ApprovedModel) -> TrustedModel:
    from seamtell.models.model_file import load_model, model_digest

    model_id, digest = approved.model_id, approved.digest
    folder = ws.models_dir / model_id
    restore = f"restore {folder.name} from a copy, or approve another model"
    try:
        if model_digest(folder) != digest:
            return _none(
                Reason.MODEL_DIGEST_MISMATCH,
                f"{folder}: not the model that was approved, its digest differs. To do: {restore}",
            )
        model = load_model(folder)
    except ModelRefused as problem:
        return _none(problem.reason, str(problem))
    except (SeamtellError, OSError) as problem:
        return _none(Reason.MODEL_DIGEST_MISMATCH, f"{folder}: {problem}. To do: {restore}")
    computed = set(model.card.descriptor_names) <= set(registry.names())
    if model.card.schema_digest != registry.schema_digest() or not computed:
        return _none(
            Reason.SCHEMA_MISMATCH,
            f"{folder}: trained on other descriptor definitions than this version computes. "
            "To do: train and approve again",
        )
    return TrustedModel.of(model, model_id, digest, approved.approval.deviation)


def _none(reason: Reason, explanation: str) -> TrustedModel:
    return TrustedModel(None, reason=reason, explanation=explanation)
