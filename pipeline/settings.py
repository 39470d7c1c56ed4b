"""The settings of a workspace: ``seamtell.toml``, every key typed and with a default.

The commented file that ``seamtell init`` writes is ``defaults/seamtell.toml``; a
test holds that its values are the defaults stated here.
"""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from seamtell.features.indications import IndicationSettings
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.versioned_toml import first_complaint, read_versioned_toml
from seamtell.pipeline.workspace import WORKSPACE_SCHEMA_VERSION, Workspace

__all__ = [
    "SETTINGS_SCHEMA_VERSION",
    "DescribeSettings",
    "MatchSettings",
    "ReviewSettings",
    "Settings",
    "SignOffSettings",
    "TrackSettings",
    "TrainSettings",
    "evaluation_settings_digest",
    "indication_settings",
    "read_settings",
    "settings_digest",
]

SETTINGS_SCHEMA_VERSION = WORKSPACE_SCHEMA_VERSION


class _Section(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class DescribeSettings(_Section):
    """From trace to indications."""

    enter_sigma: float = Field(default=5.0, gt=0)
    """An indication needs one sample this many noise units above the baseline."""
    leave_sigma: float = Field(default=2.5, gt=0)
    """It extends to where the excursion falls below this many noise units."""

    @model_validator(mode="after")
    def _leave_below_enter(self) -> DescribeSettings:
        if self.leave_sigma > self.enter_sigma:
            raise ValueError("leave_sigma is above enter_sigma")
        return self


class MatchSettings(_Section):
    """Sections against indications."""

    extra_tolerance_mm: float = Field(default=2.0, ge=0)
    """Added to the position tolerance of each section."""


class TrainSettings(_Section):
    """Training."""

    holdout_share: float = Field(default=0.3, gt=0, lt=1)
    """Share of the sections, the newest, held out as the final test."""
    folds: int = Field(default=5, ge=2)
    min_sections_per_class: int = Field(default=8, ge=3)
    """A class with fewer sections is left out, by name."""
    seed: int = 1
    error_rate: float = Field(default=0.1, gt=0, lt=1)
    """A conformal set misses the true label at most this often, in each class."""
    novelty_p: float = Field(default=0.01, ge=0, lt=1)
    """Below this p-value an indication is novel and gets no label."""
    candidates: tuple[str, ...] = ("prior", "hand_rule", "logistic", "lightgbm")


class ReviewSettings(_Section):
    """When the classifier asks for a review of a seam that the limit rule accepts."""

    labels: dict[str, float] = Field(default_factory=lambda: {"lack_of_fusion": 0.5})
    """Label to the least probability that asks for a review."""
    novel: bool = True
    """Whether a novel indication asks for a review."""


class TrackSettings(_Section):
    """Experiment tracking. The server comes from MLFLOW_TRACKING_URI, else a file in the workspace."""

    experiment: str = "seamtell"
    registered_model: str = "seamtell-flaw"


class SignOffSettings(_Section):
    """Approving, withdrawing and reinstating models."""

    require_signature: bool = False
    """Whether a model is put to work only by an entry signed with a key that ``keys/`` holds."""


class Settings(_Section):
    """All of ``seamtell.toml``."""

    schema_version: int = SETTINGS_SCHEMA_VERSION
    shop: str = ""
    describe: DescribeSettings = DescribeSettings()
    match: MatchSettings = MatchSettings()
    train: TrainSettings = TrainSettings()
    review: ReviewSettings = ReviewSettings()
    track: TrackSettings = TrackSettings()
    sign_off: SignOffSettings = SignOffSettings()


def evaluation_settings_digest(settings: Settings) -> str:
    """SHA-256 over the settings that shape an evaluation: describing, matching, reviewing."""
    document = settings.model_dump(mode="json", include={"describe", "match", "review"})
    return hashlib.sha256(json.dumps(document, sort_keys=True).encode("utf-8")).hexdigest()


def read_settings(path: Path) -> Settings:
    """Read ``seamtell.toml``.

    Raises
    ------
    BadInput
        Not TOML, an unknown key, a value out of range, or a newer schema version.
    """
    document, _ = read_versioned_toml(path, what="workspace", version=SETTINGS_SCHEMA_VERSION)
    try:
        return Settings.model_validate(document)
    except ValidationError as problem:
        raise BadInput(first_complaint(problem), where=str(path), do="mend the key named") from None


def indication_settings(settings: DescribeSettings) -> IndicationSettings:
    """The thresholds of the workspace in the words of the features."""
    return IndicationSettings(enter_sigma=settings.enter_sigma, leave_sigma=settings.leave_sigma)


def settings_digest(ws: Workspace) -> str:
    """SHA-256 of the settings file."""
    return hashlib.sha256(ws.settings_path.read_bytes()).hexdigest()
