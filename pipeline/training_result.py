"""What a training gives back: the model, the candidates, the sections and the simulated flaws."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from seamtell.models.training import CandidateScore

__all__ = ["ClassCount", "TrainPhysics", "TrainResult"]


class TrainPhysics(StrEnum):
    """Which simulated flaws join the sections."""

    NONE = "none"
    IMPLANTED = "implanted"
    """Put into the shop's own recorded sound seams."""
    SIMULATED = "simulated"
    """In simulated seams."""


@dataclass(frozen=True)
class ClassCount:
    """Sections of one class.

    Parameters
    ----------
    flaw : str
    training, held_out : int
        Sections on either side of the split.
    fitted : int
        Training sections that met an indication: what the model learnt from.
    missing : int
        How many more such sections the class needs before it is learnt.
    """

    flaw: str
    training: int
    held_out: int
    fitted: int
    missing: int


@dataclass(frozen=True)
class TrainResult:
    """A trained model and how it came about.

    Parameters
    ----------
    model_id : str
        For example ``m-0001``.
    folder : Path
    digest : str
        SHA-256 over the folder's files.
    candidate_table : tuple of CandidateScore
        Every candidate, from simplest to most flexible, with the chosen one marked.
    class_counts : tuple of ClassCount
    warnings : tuple of str
    left_out_classes : tuple of str
    cut_time : str
        When the first held-out seam was welded; empty for a model without sections.
    tracked : bool
        Whether the tracking server has the run; else it waits in the outbox.
    physics : TrainPhysics
        Which simulated flaws joined.
    physics_only : bool
        Learnt from simulation alone: good for a trial run, never for approval.
    simulated_weights : mapping of str to float
        What the simulated flaws count in each candidate, as multiples of the sections.
    simulated_flaws : mapping of str to int
        Simulated flaws that joined, by class.
    """

    model_id: str
    folder: Path
    digest: str
    candidate_table: tuple[CandidateScore, ...]
    class_counts: tuple[ClassCount, ...]
    warnings: tuple[str, ...]
    left_out_classes: tuple[str, ...]
    cut_time: str
    tracked: bool
    physics: TrainPhysics = TrainPhysics.NONE
    physics_only: bool = False
    simulated_weights: Mapping[str, float] = field(default_factory=dict)
    simulated_flaws: Mapping[str, int] = field(default_factory=dict)
