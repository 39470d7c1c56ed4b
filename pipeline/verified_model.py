"""A model of the workspace, loaded only when every digest holds."""

from __future__ import annotations

from seamtell.features.descriptors import registry
from seamtell.models.errors import ModelRefused
from seamtell.models.flaw_model import FlawModel
from seamtell.models.model_file import load_any_model, model_digest
from seamtell.models.physics_only_model import PhysicsOnlyModel
from seamtell.pipeline.errors import BadInput, Refused
from seamtell.pipeline.workspace import Workspace

__all__ = ["load_model_for_trial", "load_verified_model"]


def load_verified_model(ws: Workspace, model_id: str) -> tuple[FlawModel, str]:
    """Load a model of the workspace, every digest checked, and return it with its digest.

    Raises
    ------
    BadInput
        No such model.
    Refused
        The folder differs from what training saved, another version of the descriptors made it, or
        it was learnt from simulation alone.
    """
    model, digest = load_model_for_trial(ws, model_id)
    if isinstance(model, PhysicsOnlyModel):
        raise Refused(
            "learnt from simulation alone; no section has judged it",
            where=str(ws.models_dir / model_id),
            do=f"try it beside the limit rule with 'seamtell classify --trial {model_id}'; add sections and "
            "train again for a model that can be evaluated and approved",
        )
    return model, digest


def load_model_for_trial(ws: Workspace, model_id: str) -> tuple[FlawModel | PhysicsOnlyModel, str]:
    """Load a model as `load_verified_model` does, also one learnt from simulation alone.

    Raises
    ------
    BadInput
        No such model.
    Refused
        The folder differs from what training saved, or another version of the descriptors made it.
    """
    folder = ws.models_dir / model_id
    known = sorted(p.name for p in ws.models_dir.iterdir() if p.is_dir()) if ws.models_dir.is_dir() else []
    known = [name for name in known if not name.startswith(".")]
    if model_id not in known:
        have = f"there is {', '.join(known[-5:])}" if known else "run 'seamtell train' first"
        raise BadInput(f"no model '{model_id}'", where=str(ws.models_dir), do=have)
    try:
        digest = model_digest(folder)
        model = load_any_model(folder)
    except ModelRefused as problem:
        raise Refused(problem.what, where=problem.where, do=problem.do) from None
    if model.card.schema_digest != registry.schema_digest():
        raise Refused(
            "trained on other descriptor definitions than this version computes",
            where=str(folder),
            do="train again with 'seamtell train'",
        )
    return model, digest
