"""What an acceptance record is made from: the answered sections and all that stands beside them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seamtell.pipeline.acceptance.cost_table import CostTable
from seamtell.pipeline.acceptance.examiners import Readings
from seamtell.pipeline.acceptance.tolerance import AnsweredIndications
from seamtell.pipeline.evaluation.answered import AnsweredSections
from seamtell.pipeline.evaluation.bootstrap import Plan
from seamtell.pipeline.evaluation.result import EvaluationResult

__all__ = ["AcceptanceEvidence", "ApprovedAnswers", "ProductionSample", "TaughtTable"]


@dataclass(frozen=True, eq=False)
class ProductionSample:
    """Seams of production, sectioned or not, with every indication on them.

    Parameters
    ----------
    seams : DataFrame
        ``seam_id, start_mm, pitch_mm, n_samples``.
    indications : DataFrame
        ``seam_id, start_mm, end_mm, exceeds_limit``.
    """

    seams: pd.DataFrame
    indications: pd.DataFrame


@dataclass(frozen=True, eq=False)
class ApprovedAnswers:
    """The approved model on the held-out sections that it never trained on either.

    Parameters
    ----------
    model_id : str
    sections : AnsweredSections
    forced : array of shape (n, k)
        Calibrated probabilities of its chosen candidate, on the rows of `sections`.
    """

    model_id: str
    sections: AnsweredSections
    forced: NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class TaughtTable:
    """Descriptors of matched sections and what they found.

    Parameters
    ----------
    values : array of shape (n, d)
    names : tuple of str, length d
        Descriptors that the model reads.
    truths : str array of shape (n,)
    groups : str array of shape (n,)
    """

    values: NDArray[np.float64]
    names: tuple[str, ...]
    truths: NDArray[np.str_]
    groups: NDArray[np.str_]


@dataclass(frozen=True, eq=False)
class AcceptanceEvidence:
    """All that the statistics read.

    Parameters
    ----------
    result : EvaluationResult
        The evaluation of the same sections.
    evaluation_digest : str
        SHA-256 of its file.
    held_out, cross_validated : AnsweredSections
    sections : DataFrame
        The whole section table, with sizes.
    seams : DataFrame
        Metadata of the sectioned seams.
    indications : DataFrame
        Described indications of the sectioned seams.
    taught : TaughtTable
    answered : AnsweredIndications
        Every indication of the held-out sectioned seams.
    production : ProductionSample
    extra_tolerance_mm : float
        In use when sections were matched.
    plan : Plan
    approved : ApprovedAnswers, optional
        None where no other model is approved, or it could not be compared.
    approved_model_id : str
        The other model that is approved; empty for none.
    not_compared : str
        Why it could not be compared.
    readings : Readings, optional
        Of sections that several examiners looked at.
    costs : CostTable, optional
    margins : mapping of str to float
        Greatest loss against the approved model that the criteria allow, by figure.
    selection_probabilities : mapping of str to float
        With which a plan drew the indication of each planned section.
    """

    result: EvaluationResult
    evaluation_digest: str
    held_out: AnsweredSections
    cross_validated: AnsweredSections
    sections: pd.DataFrame
    seams: pd.DataFrame
    indications: pd.DataFrame
    taught: TaughtTable
    answered: AnsweredIndications
    production: ProductionSample
    extra_tolerance_mm: float
    plan: Plan
    approved: ApprovedAnswers | None = None
    approved_model_id: str = ""
    not_compared: str = ""
    readings: Readings | None = None
    costs: CostTable | None = None
    margins: Mapping[str, float] = field(default_factory=dict)
    selection_probabilities: Mapping[str, float] = field(default_factory=dict)

    @property
    def frame(self) -> pd.DataFrame:
        """The sections of both scopes, as in ``sections.csv``."""
        return pd.concat([self.held_out.frame, self.cross_validated.frame], ignore_index=True)

    @property
    def forced(self) -> NDArray[np.float64]:
        """Probabilities of the chosen candidate on the held-out sections, shape (n, k)."""
        return self.held_out.candidates[self.result.candidate]
