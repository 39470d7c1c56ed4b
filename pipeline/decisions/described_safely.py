"""Describing a batch in which one seam may break the rest."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields, replace

import numpy as np
from numpy.typing import NDArray

from seamtell.features.contracts import RecipeLimits
from seamtell.features.described_batch import DescribedBatch
from seamtell.features.descriptors.registry import ALL
from seamtell.features.indications import IndicationSettings
from seamtell.features.kernel.batch import describe_batch
from seamtell.features.trace_batch import TraceBatch

__all__ = ["describe_safely"]


def describe_safely(
    batch: TraceBatch, limits: Mapping[str, RecipeLimits], settings: IndicationSettings
) -> tuple[DescribedBatch, NDArray[np.bool_]]:
    """Describe a batch, and seam by seam when that raises.

    Whatever is wrong with one trace, it must not keep the limit rule's verdict on it, or on
    any other seam, from being written.

    Returns
    -------
    described : DescribedBatch
    raised : bool array of shape (n,)
        Seams that could not be described; they have no indications.
    """
    raised = np.zeros(len(batch), dtype=np.bool_)
    try:
        return describe_batch(batch, limits, settings), raised
    except Exception:  # noqa: BLE001 (one seam after the other then)
        parts = []
    for i in range(len(batch)):
        try:
            parts.append(describe_batch(_one(batch, i), limits, settings))
        except Exception:  # noqa: BLE001 (this seam goes to review, by name)
            raised[i] = True
            parts.append(_nothing(len(batch.channels)))
    return _joined(parts), raised


def _one(batch: TraceBatch, i: int) -> TraceBatch:
    of_seams = [field.name for field in fields(batch) if field.name not in {"channels", "values", "recipes"}]
    return replace(batch, **{name: getattr(batch, name)[i : i + 1] for name in of_seams})


def _nothing(channels: int) -> DescribedBatch:
    unknown, none = np.full((1, channels), np.nan), np.empty(0)
    return DescribedBatch(
        status=np.zeros(1, np.int8),
        dead_zone_indications=np.zeros(1, np.int32),
        baseline_pct=unknown,
        noise_pct=unknown,
        seam=np.empty(0, np.int32),
        indication=np.empty(0, np.int32),
        start_mm=none,
        end_mm=none,
        peak_mm=none,
        shown=np.empty((0, channels), np.bool_),
        exceeded=np.empty((0, channels), np.bool_),
        descriptors=np.empty((0, len(ALL))),
    )


def _joined(parts: Sequence[DescribedBatch]) -> DescribedBatch:
    columns = {
        field.name: np.concatenate([getattr(part, field.name) for part in parts])
        for field in fields(DescribedBatch)
        if field.name != "seam"
    }
    seam = np.repeat(np.arange(len(parts), dtype=np.int32), [len(part) for part in parts])
    return DescribedBatch(**columns, seam=seam)
