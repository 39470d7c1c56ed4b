"""Whether stated probabilities and conformal sets keep their promise."""

from __future__ import annotations

import numpy as np

from seamtell.pipeline.evaluation.answered import AnsweredSections
from seamtell.pipeline.evaluation.intervals import DEFAULT_LEVEL, share
from seamtell.pipeline.evaluation.result import ReliabilityBin, SetCoverage

__all__ = ["reliability_bins", "set_coverage"]


def reliability_bins(
    sections: AnsweredSections, bins: int = 5, level: float = DEFAULT_LEVEL
) -> tuple[ReliabilityBin, ...]:
    """Share of right top labels by bins of the top probability; empty bins are left out.

    Bins of equal width; the upper edge belongs to the bin, so that 1.0 has a place.
    """
    top = sections.frame["top_probability"].to_numpy(float)
    use = sections.indicated & np.isfinite(top)
    right = (sections.frame["top_label"] == sections.frame["truth"]).to_numpy(bool)
    edges = np.linspace(0.0, 1.0, bins + 1)
    place = np.clip(np.ceil(np.nan_to_num(top) * bins).astype(int) - 1, 0, bins - 1)
    result = []
    for k in range(bins):
        here = use & (place == k)
        if here.any():
            result.append(
                ReliabilityBin(
                    low_edge=float(edges[k]),
                    high_edge=float(edges[k + 1]),
                    mean_probability=float(top[here].mean()),
                    right=share(int(right[here].sum()), int(here.sum()), level=level),
                )
            )
    return tuple(result)


def set_coverage(
    sections: AnsweredSections, error_rate: float, level: float = DEFAULT_LEVEL
) -> tuple[SetCoverage, ...]:
    """How often the conformal set holds the truth, for every class that the model knows.

    Rows without probabilities have no set and are left out.
    """
    use = sections.indicated & np.isfinite(sections.probabilities).all(axis=1)
    truths = sections.frame["truth"].to_numpy(object)
    sets = [frozenset(text.split("+")) if text else frozenset() for text in sections.frame["label_set"]]
    result = []
    for label in sections.classes:
        rows = np.flatnonzero(use & (truths == label))
        held = sum(label in sets[row] for row in rows)
        result.append(
            SetCoverage(
                label=label,
                coverage=share(held, len(rows), level=level, unknown_because="no indicated section"),
                aimed=1.0 - error_rate,
                mean_set_size=float(np.mean([len(sets[row]) for row in rows])) if len(rows) else None,
            )
        )
    return tuple(result)
