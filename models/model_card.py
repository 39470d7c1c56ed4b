"""The card of a trained model: all that a reader must know of it."""

from __future__ import annotations

import platform

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict, model_validator

__all__ = [
    "FORMAT_VERSION",
    "READABLE_FORMATS",
    "DescriptorRange",
    "LibraryVersions",
    "ModelCard",
    "PhysicsPart",
    "TrainingDomain",
    "library_versions",
    "training_domain",
]

FORMAT_VERSION = 2
"""Of the model folder. Version 2 says what physics had a part in the training."""
READABLE_FORMATS = (1, 2)
"""A folder of version 1 is one of version 2 without physics."""


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class DescriptorRange(_Part):
    """Smallest and largest value of one descriptor over the training sections."""

    name: str
    low: float
    high: float


class TrainingDomain(_Part):
    """Where the model has been: outside of it, it says nothing."""

    recipes: tuple[str, ...]
    ranges: tuple[DescriptorRange, ...]


class LibraryVersions(_Part):
    """What the model was trained with; other versions load it when the stored probe comes out the same."""

    python: str
    numpy: str
    scipy: str
    scikit_learn: str
    lightgbm: str


class PhysicsPart(_Part):
    """The simulated flaws that joined a training."""

    origin: str
    """``implanted`` or ``simulated``."""
    theory_version: str
    physics_digest: str
    """SHA-256 of the file that describes heads, joints and expected flaws."""
    simulated_digest: str
    """SHA-256 of the table of simulated flaws."""
    flaws_per_class: tuple[int, ...]
    """Simulated flaws of each class, in the order of the card's classes."""
    dropped_classes: tuple[str, ...]
    """Simulated, but not learnt, because too few sections could judge them."""
    host_groups: tuple[str, ...]
    """Coils and seams of the shop that flaws were put into: the fit saw their sound parts."""
    weights: dict[str, float]
    """Of each candidate that reads simulated flaws: what they count, as multiples of the sections."""
    label_probability: float | None = None
    """Least probability of a label, of a model that was learnt from simulation alone."""


class ModelCard(_Part):
    """All that a reader must know of a model; holds no time and no path, so equal data give an equal card."""

    format_version: int
    schema_digest: str
    descriptor_names: tuple[str, ...]
    classes: tuple[str, ...]
    sections_per_class: tuple[int, ...]
    left_out_classes: tuple[str, ...]
    candidates: tuple[str, ...]
    chosen: str
    error_rate: float
    """A conformal set misses the true label at most this often, in each class."""
    novelty_p: float
    """What the plan asked for."""
    novelty_threshold_p: float
    """What is used: larger than `novelty_p` when there are too few sections to resolve that."""
    seed: int
    folds: int
    domain: TrainingDomain
    training_section_ids: tuple[str, ...]
    training_groups: tuple[str, ...]
    data_digest: str
    library_versions: LibraryVersions
    warnings: tuple[str, ...]
    physics: PhysicsPart | None = None
    """Which simulated flaws joined the training; None when none did."""
    physics_only: bool = False
    """Learnt from simulation alone: no section has judged it, and nothing may approve it."""

    @model_validator(mode="after")
    def _physics_only_is_consistent(self) -> ModelCard:
        # A card that claims sections it was not taught by, or none and no physics, is forged or broken.
        if self.physics_only != (self.physics is not None and not self.training_section_ids):
            raise ValueError("physics_only does not agree with the sections of the card")
        return self


def training_domain(
    names: tuple[str, ...], values: NDArray[np.float64], recipes: NDArray[np.str_]
) -> TrainingDomain:
    """Return the recipes, and the range of each descriptor in `values` of shape (n, d)."""
    lows, highs = values.min(axis=0).tolist(), values.max(axis=0).tolist()
    ranges = zip(names, lows, highs, strict=True)
    return TrainingDomain(
        recipes=tuple(sorted(set(recipes.tolist()))),
        ranges=tuple(DescriptorRange(name=name, low=low, high=high) for name, low, high in ranges),
    )


def library_versions() -> LibraryVersions:
    """Return the versions in use."""
    import lightgbm
    import scipy
    import sklearn

    return LibraryVersions(
        python=platform.python_version(),
        numpy=np.__version__,
        scipy=scipy.__version__,
        scikit_learn=sklearn.__version__,
        lightgbm=lightgbm.__version__,
    )
