"""What changed between the approved model and the candidate: sections, labels, descriptors."""

from __future__ import annotations

import io

import pandas as pd

from seamtell.features.errors import SeamtellError
from seamtell.models.model_card import ModelCard
from seamtell.pipeline.retrain.record import DataChange, LabelChange, ModelChange, RangeChange
from seamtell.pipeline.sign_off.evidence_copy import SECTION_TABLE, evidence_bytes
from seamtell.pipeline.sign_off.log_entry import LogEntry
from seamtell.pipeline.workspace import Workspace

__all__ = ["data_change", "model_change", "sections_at_approval"]

_MOVED = 0.05
"""A range that moved by less than this share of itself is not told."""


def sections_at_approval(ws: Workspace, approval: LogEntry | None) -> tuple[pd.DataFrame | None, str]:
    """The section table as it was signed, or why it is not known."""
    if approval is None:
        return None, "no model is approved"
    if SECTION_TABLE not in approval.evidence:
        return None, "the approval kept no copy of the sections"
    try:
        data = evidence_bytes(ws, approval, SECTION_TABLE)
    except SeamtellError as problem:
        return None, f"the copy of the sections at approval cannot be read: {problem.what}"
    return pd.read_csv(io.BytesIO(data), dtype=str, keep_default_na=False), ""


def data_change(before: pd.DataFrame | None, told: str, now: pd.DataFrame) -> DataChange:
    """Sections and labels, then and now.

    Parameters
    ----------
    before : DataFrame or None
        ``section_id, flaw``.
    told : str
        Why `before` is not known.
    now : DataFrame
        ``section_id, flaw, purpose``.
    """
    then = {} if before is None else dict(zip(before["section_id"], before["flaw"], strict=True))
    here = dict(zip(now["section_id"].astype(str), now["flaw"].astype(str), strict=True))
    added = () if before is None else tuple(sorted(set(here) - set(then)))
    fresh = now[now["section_id"].isin(added)]
    return DataChange(
        told=told,
        before=None if before is None else len(then),
        now=len(here),
        added=added,
        removed=tuple(sorted(set(then) - set(here))),
        relabelled=tuple(
            LabelChange(section_id=name, before=then[name], now=here[name])
            for name in sorted(set(then) & set(here))
            if then[name] != here[name]
        ),
        added_by_class={str(k): int(v) for k, v in sorted(fresh["flaw"].value_counts().items())},
        added_by_purpose={str(k): int(v) for k, v in sorted(fresh["purpose"].value_counts().items())},
    )


def model_change(before: ModelCard, now: ModelCard) -> ModelChange:
    """What the two cards say differently."""
    then = {one.name: one for one in before.domain.ranges}
    moved = []
    for one in now.domain.ranges:
        old = then.get(one.name)
        if old is None:
            continue
        room = _MOVED * max(old.high - old.low, 1e-12)
        if abs(one.low - old.low) > room or abs(one.high - old.high) > room:
            moved.append(
                RangeChange(
                    name=one.name, low_before=old.low, high_before=old.high, low=one.low, high=one.high
                )
            )
    return ModelChange(
        chosen_before=before.chosen,
        chosen=now.chosen,
        classes_before=before.classes,
        classes=now.classes,
        recipes_before=before.domain.recipes,
        recipes=now.domain.recipes,
        physics_before=before.physics.origin if before.physics else "none",
        physics=now.physics.origin if now.physics else "none",
        same_descriptors=before.descriptor_names == now.descriptor_names,
        ranges=tuple(moved),
    )
