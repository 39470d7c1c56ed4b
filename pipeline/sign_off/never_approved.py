"""What no signature can approve: a model that was learnt from simulation alone."""

from __future__ import annotations

import json

from seamtell.pipeline.errors import Refused
from seamtell.pipeline.workspace import Workspace

__all__ = ["refuse_physics_only"]


def refuse_physics_only(ws: Workspace, model_id: str) -> None:
    """Refuse a model whose card says that no section taught it; say nothing of any other.

    This stands behind the checks of the stage *approve*, at the log and at the
    registry alias, so that no other caller gets past it either.

    Raises
    ------
    Refused
    """
    path = ws.models_dir / model_id / "model_card.json"
    try:
        card = json.loads(path.read_bytes())
    except (OSError, ValueError):
        return  # no readable card: nothing here to approve, and its digests will not hold
    if isinstance(card, dict) and card.get("physics_only"):
        raise Refused(
            "learnt from simulation alone; no section has judged it",
            where=str(path.parent),
            do="add sections, then train and evaluate a model on them",
        )
