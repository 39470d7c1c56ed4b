"""What a person does with two numbers: is it long, and does it mirror more than it scatters?

Two thresholds cut the plane of width and height ratio into four fields; each
field answers with the shares of the training sections in it.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar, Self

import numpy as np
from numpy.typing import NDArray

from seamtell.features.errors import SeamtellError
from seamtell.models.candidate import Candidate, FittedCandidate
from seamtell.models.canonical_json import canonical_json

__all__ = ["RATIO_DESCRIPTOR", "WIDTH_DESCRIPTOR", "FittedHandRule", "HandRule"]

RATIO_DESCRIPTOR = "height_ratio_db"
"""Height over baseline on specular against that on scatter, in dB."""
WIDTH_DESCRIPTOR = "specular_outer_width_beams"
"""Outer width at half height on specular, in beam widths."""

_CUTS = 19
"""Thresholds tried for each of the two: evenly spaced quantiles of the training sections."""


@dataclass(frozen=True)
class FittedHandRule(FittedCandidate):
    """Two columns, two thresholds, four fields.

    Parameters
    ----------
    ratio_column, width_column : int
    ratio_above, width_above : float
        An indication is *mirroring* or *long* above these.
    leaves : tuple of 4 tuples of float, length K
        Shares of each class; the field is ``2 * long + mirroring``.
    """

    ratio_column: int
    width_column: int
    ratio_above: float
    width_above: float
    leaves: tuple[tuple[float, ...], ...]

    def predict_proba(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the shares of the field that each indication falls in, shape (n, K)."""
        fields = _fields(
            values[:, self.ratio_column], values[:, self.width_column], self.ratio_above, self.width_above
        )
        return np.asarray(np.array(self.leaves)[fields], dtype=np.float64)

    def to_files(self) -> dict[str, bytes]:
        """Return one JSON file."""
        document = {
            "ratio_column": self.ratio_column,
            "width_column": self.width_column,
            "ratio_above": self.ratio_above,
            "width_above": self.width_above,
            "leaves": [list(leaf) for leaf in self.leaves],
        }
        return {"hand_rule.json": canonical_json(document)}

    @classmethod
    def from_files(cls, files: Mapping[str, bytes]) -> Self:
        """Rebuild from `to_files`."""
        document = json.loads(files["hand_rule.json"])
        return cls(
            ratio_column=int(document["ratio_column"]),
            width_column=int(document["width_column"]),
            ratio_above=float(document["ratio_above"]),
            width_above=float(document["width_above"]),
            leaves=tuple(tuple(float(share) for share in leaf) for leaf in document["leaves"]),
        )


class HandRule(Candidate):
    """The two-rule hand classifier; its thresholds are those with the least training log loss."""

    name: ClassVar[str] = "hand_rule"
    fitted: ClassVar[type[FittedCandidate]] = FittedHandRule

    def fit(
        self,
        values: NDArray[np.float64],
        codes: NDArray[np.int64],
        weights: NDArray[np.float64],
        names: tuple[str, ...],
        classes: tuple[str, ...],
        seed: int,  # noqa: ARG002
        groups: NDArray[np.str_] | None = None,  # noqa: ARG002
    ) -> FittedHandRule:
        """Try all pairs of thresholds.

        Raises
        ------
        SeamtellError
            One of the two descriptors is not among `names`.
        """
        missing = [name for name in (RATIO_DESCRIPTOR, WIDTH_DESCRIPTOR) if name not in names]
        if missing:
            raise SeamtellError(
                f"the hand rule reads the descriptor '{missing[0]}', which is not in the table",
                do="take 'hand_rule' out of the candidates, or describe the seams anew",
            )
        ratio_column, width_column = names.index(RATIO_DESCRIPTOR), names.index(WIDTH_DESCRIPTOR)
        ratio, width = values[:, ratio_column], values[:, width_column]
        weighted_truth = np.eye(len(classes))[codes] * weights[:, None]
        best_loss, best = np.inf, (0.0, 0.0, np.zeros((4, len(classes))))
        for ratio_above in _cuts(ratio):
            for width_above in _cuts(width):
                counts = np.zeros((4, len(classes)))
                np.add.at(counts, _fields(ratio, width, ratio_above, width_above), weighted_truth)
                leaves = (counts + 1.0) / (counts + 1.0).sum(axis=1, keepdims=True)
                loss = -(counts * np.log(leaves)).sum()
                if loss < best_loss:
                    best_loss, best = loss, (float(ratio_above), float(width_above), leaves)
        return FittedHandRule(
            ratio_column, width_column, best[0], best[1], tuple(tuple(leaf) for leaf in best[2].tolist())
        )


def _cuts(column: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(np.unique(np.quantile(column, np.linspace(0, 1, _CUTS + 2)[1:-1])), dtype=np.float64)


def _fields(
    ratio: NDArray[np.float64], width: NDArray[np.float64], ratio_above: float, width_above: float
) -> NDArray[np.int64]:
    return np.asarray(2 * (width > width_above) + (ratio > ratio_above), dtype=np.int64)
