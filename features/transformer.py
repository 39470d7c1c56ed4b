"""The describer as a scikit-learn transformer: seam traces in, a table of indications out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from sklearn.base import BaseEstimator, TransformerMixin
from sklearn.utils.validation import check_is_fitted

from seamtell.features.contracts import CHANNELS, RecipeLimits, SeamTrace
from seamtell.features.describer import analyse_seam, describe_table
from seamtell.features.descriptors.registry import by_name, names
from seamtell.features.errors import SeamtellError
from seamtell.features.indications import IndicationSettings

__all__ = ["SeamDescriber"]


class SeamDescriber(TransformerMixin, BaseEstimator):  # type: ignore[misc]
    """Describe every indication of a sequence of seams.

    A transformer that changes the number of rows: one seam may have several
    indications or none. The index of the output names the seam and the indication
    of each row. It learns nothing from data; `fit` only checks its parameters.

    Parameters
    ----------
    limits : RecipeLimits or mapping of str to RecipeLimits, optional
        The same for all seams, or by recipe. Without it a beam width of `beam_width_mm`,
        no limits and no dead zones are taken: the limit descriptors are then 0.
    beam_width_mm : float, default 9.4
        Used without `limits` only.
    enter_sigma, leave_sigma : float, default 5 and 2.5
        Thresholds, see `IndicationSettings`.
    descriptors : sequence of str, optional
        Which descriptors, in which order; all by default.

    Attributes
    ----------
    feature_names_out_ : tuple of str
        Names of the columns.
    """

    def __init__(
        self,
        limits: RecipeLimits | Mapping[str, RecipeLimits] | None = None,
        *,
        beam_width_mm: float = 9.4,
        enter_sigma: float = 5.0,
        leave_sigma: float = 2.5,
        descriptors: Sequence[str] | None = None,
    ) -> None:
        self.limits = limits
        self.beam_width_mm = beam_width_mm
        self.enter_sigma = enter_sigma
        self.leave_sigma = leave_sigma
        self.descriptors = descriptors

    def fit(self, X: Sequence[SeamTrace], y: Any = None) -> SeamDescriber:  # noqa: ARG002  # scikit-learn calls with y
        """Check parameters and input; nothing is learnt.

        Raises
        ------
        SeamtellError
            When the input is no sequence of seam traces, or a parameter is wrong.
        """
        _check_traces(X)
        self._settings()
        if not self.beam_width_mm > 0.0:
            raise SeamtellError(f"got beam_width_mm {self.beam_width_mm}, expected a length above 0")
        chosen = names() if self.descriptors is None else tuple(self.descriptors)
        for name in chosen:
            by_name(name)
        self.feature_names_out_ = chosen
        return self

    def transform(self, X: Sequence[SeamTrace]) -> pd.DataFrame:
        """Descriptors of every indication.

        Parameters
        ----------
        X : sequence of SeamTrace

        Returns
        -------
        pandas.DataFrame of shape (n_indications, n_descriptors)
            Indexed by seam_id and indication.
        """
        check_is_fitted(self)
        _check_traces(X)
        settings = self._settings()
        table = describe_table(analyse_seam(trace, self._limits_of(trace), settings) for trace in X)
        return table.set_index(["seam_id", "indication"])[list(self.feature_names_out_)]

    def get_feature_names_out(self, input_features: Any = None) -> NDArray[np.object_]:  # noqa: ARG002  # part of the interface
        """Names of the columns; the input has none, so `input_features` is not used."""
        check_is_fitted(self)
        return np.array(self.feature_names_out_, dtype=object)

    def set_output(self, *, transform: str | None = None) -> SeamDescriber:
        """Output is pandas always, because the rows need the seam they belong to.

        Raises
        ------
        SeamtellError
            When anything but pandas is asked for.
        """
        if transform not in (None, "default", "pandas"):
            raise SeamtellError(
                f"got output {transform!r}, expected 'pandas'", do="convert the table after transform"
            )
        return self

    def _settings(self) -> IndicationSettings:
        return IndicationSettings(enter_sigma=self.enter_sigma, leave_sigma=self.leave_sigma)

    def _limits_of(self, trace: SeamTrace) -> RecipeLimits:
        if isinstance(self.limits, RecipeLimits):
            return self.limits
        if self.limits is None:
            return RecipeLimits(trace.recipe, {}, 0.0, 0.0, self.beam_width_mm)
        if trace.recipe not in self.limits:
            raise SeamtellError(
                f"no limits for recipe {trace.recipe!r}, got {sorted(self.limits)}",
                where=f"seam {trace.seam_id}",
                do="add the recipe to the limits",
            )
        return self.limits[trace.recipe]

    def __sklearn_tags__(self) -> Any:
        tags = super().__sklearn_tags__()
        tags.requires_fit = True
        tags.no_validation = True
        return tags


def _check_traces(X: Any) -> None:
    """Refuse what is no sequence of seam traces, naming what was got."""
    if isinstance(X, SeamTrace) or not isinstance(X, Sequence):
        raise SeamtellError(
            f"got {type(X).__name__}, expected a sequence of SeamTrace with channels {' and '.join(CHANNELS)}"
        )
    for i, trace in enumerate(X):
        if not isinstance(trace, SeamTrace):
            raise SeamtellError(f"got {type(trace).__name__} at place {i}, expected SeamTrace")
