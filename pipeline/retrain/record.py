"""What a retraining says: the exact schema of ``retrain.json``."""

from __future__ import annotations

from datetime import datetime

from pydantic import BaseModel, ConfigDict

from seamtell.pipeline.acceptance.record import Comparison
from seamtell.pipeline.evaluation.result import Estimate

__all__ = [
    "ClassChange",
    "DataChange",
    "LabelChange",
    "ModelChange",
    "RangeChange",
    "RetrainRecord",
    "SharedSections",
]


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class LabelChange(_Part):
    """A section that reads otherwise than it did when the approved model was signed."""

    section_id: str
    before: str
    now: str


class DataChange(_Part):
    """What became of the sections."""

    told: str
    """Why the sections at approval are not known; empty where they are."""
    before: int | None
    now: int
    added: tuple[str, ...]
    removed: tuple[str, ...]
    relabelled: tuple[LabelChange, ...]
    added_by_class: dict[str, int]
    added_by_purpose: dict[str, int]


class RangeChange(_Part):
    """A descriptor whose range over the training sections moved."""

    name: str
    low_before: float
    high_before: float
    low: float
    high: float


class ModelChange(_Part):
    """What became of the model itself."""

    chosen_before: str
    chosen: str
    classes_before: tuple[str, ...]
    classes: tuple[str, ...]
    recipes_before: tuple[str, ...]
    recipes: tuple[str, ...]
    physics_before: str
    physics: str
    same_descriptors: bool
    ranges: tuple[RangeChange, ...]


class ClassChange(_Part):
    """Share answered right, of one class (or ``all``), by both models on the same sections."""

    label: str
    candidate: Estimate
    approved: Estimate
    only_candidate: int
    only_approved: int
    p_exact: float | None


class SharedSections(_Part):
    """Both models on the same sections, which neither trained on."""

    name: str
    """``held_out`` (all such sections) or ``newest`` (those added since the approved model was trained)."""
    sections: int
    unknown: str
    """Why there is nothing to compare; empty where there is."""
    classes: tuple[ClassChange, ...]
    comparisons: tuple[Comparison, ...]


class RetrainRecord(_Part):
    """The whole of ``retrain.json``."""

    schema_version: int = 1
    finished: bool
    """False while the candidate is trained and the rest is still to be done."""
    model_id: str
    model_digest: str
    inputs_digest: str
    """Over sections, traces, settings, limits, criteria and the approved model."""
    approved_model_id: str
    software_version: str
    retrained_at: datetime
    sections_file: str
    sentence: str
    data: DataChange | None
    model: ModelChange | None
    shared: tuple[SharedSections, ...]
    not_compared: str

    def to_json(self) -> bytes:
        """The file's content."""
        return (self.model_dump_json(indent=2) + "\n").encode("utf-8")
