"""Which indication a destructive section judges.

A section was cut at a position known to some millimetres; an indication has an
extent. The distance between them is zero inside the extent, else the gap to the
nearer end. Per seam, sections and indications are paired one to one within the
tolerance: first as many pairs as possible, then the smallest sum of distances.
Among equal solutions a flaw goes before a sound section, then the section nearer
to the peak.

One to one means: when two sections lie in one indication, one of them stays
without a match. It then names that indication under ``shared_with``, so that the
evaluation can tell a second cut through the same flaw (counted once) from a
different flaw that hid in the first one's indication (missed).

References
----------
Kuhn, H. W. (1955). The Hungarian method for the assignment problem. Naval
Research Logistics Quarterly 2, 83-97. Solved by `scipy.optimize.linear_sum_assignment`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seamtell.features.contracts import Flaw

__all__ = ["MATCH_COLUMNS", "gap_mm", "match_sections"]

MATCH_COLUMNS: tuple[str, ...] = (
    "section_id",
    "seam_id",
    "truth",
    "position_mm",
    "tolerance_mm",
    "purpose",
    "matched",
    "indication",
    "distance_mm",
    "shared_with",
    "welded_at",
    "group",
    "recipe",
)

# Far above any sum of distances on a seam, so that one pair more always wins.
_NO_PAIR_MM = 1e7
# Far below any distance that matters; they only decide between equal solutions.
_SOUND_PENALTY_MM = 1e-5
_PEAK_PENALTY = 1e-9


@dataclass(frozen=True, eq=False)
class _Assignment:
    indication: NDArray[np.int64]  # row number of the matched indication, -1 without
    distance_mm: NDArray[np.float64]
    shared: NDArray[np.int64]  # row number of a taken indication within tolerance, -1 without


def gap_mm(
    position_mm: NDArray[np.float64], start_mm: NDArray[np.float64], end_mm: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Distance of positions (n,) to extents (m,): zero inside, else to the nearer end; shape (n, m).

    Examples
    --------
    >>> gap_mm(np.array([5.0, 12.0]), np.array([4.0]), np.array([10.0]))
    array([[0.],
           [2.]])
    """
    at = position_mm[:, None]
    return np.maximum(0.0, np.maximum(start_mm[None, :] - at, at - end_mm[None, :]))


def _assign(sections: pd.DataFrame, indications: pd.DataFrame) -> _Assignment:
    from scipy.optimize import linear_sum_assignment

    n = len(sections)
    matched = np.full(n, -1, dtype=np.int64)
    shared = np.full(n, -1, dtype=np.int64)
    distance = np.full(n, np.nan)
    if len(indications) == 0:
        return _Assignment(matched, distance, shared)
    position = sections["position_mm"].to_numpy(float)
    gap = gap_mm(position, indications["start_mm"].to_numpy(float), indications["end_mm"].to_numpy(float))
    within = gap <= sections["tolerance_mm"].to_numpy(float)[:, None]
    to_peak = np.abs(position[:, None] - indications["peak_mm"].to_numpy(float)[None, :])
    sound = (sections["truth"].to_numpy() == Flaw.SOUND.value)[:, None]
    cost = np.where(within, gap + _SOUND_PENALTY_MM * sound + _PEAK_PENALTY * to_peak, _NO_PAIR_MM)
    for row, column in zip(*linear_sum_assignment(cost), strict=True):
        if within[row, column]:
            matched[row] = column
            distance[row] = gap[row, column]
    for row in np.flatnonzero((matched < 0) & within.any(axis=1)):
        shared[row] = int(np.argmin(np.where(within[row], gap[row], np.inf)))
    return _Assignment(matched, distance, shared)


def _with_seam_facts(sections: pd.DataFrame, seams: pd.DataFrame, extra_tolerance_mm: float) -> pd.DataFrame:
    frame = pd.DataFrame(
        {
            "section_id": sections["section_id"].astype(str).to_numpy(),
            "seam_id": sections["seam_id"].astype(str).to_numpy(),
            "truth": sections["flaw"].astype(str).to_numpy(),
            "position_mm": sections["position_mm"].to_numpy(float),
            "tolerance_mm": sections["position_tol_mm"].to_numpy(float) + extra_tolerance_mm,
            "purpose": sections["purpose"].astype(str).to_numpy(),
        }
    )
    facts = seams.drop_duplicates("seam_id").set_index("seam_id").reindex(frame["seam_id"])
    coil = facts["coil"].fillna("").astype(str).to_numpy()
    seam = frame["seam_id"].to_numpy()
    frame["welded_at"] = pd.DatetimeIndex(pd.to_datetime(facts["welded_at"], utc=True))
    # Prefixes keep a coil from meeting a seam of the same name.
    frame["group"] = [f"coil:{c}" if c else f"seam:{s}" for c, s in zip(coil, seam, strict=True)]
    frame["recipe"] = facts["recipe"].fillna("").astype(str).to_numpy()
    return frame.sort_values("section_id", kind="stable", ignore_index=True)


def match_sections(
    sections: pd.DataFrame, indications: pd.DataFrame, extra_tolerance_mm: float, *, seams: pd.DataFrame
) -> pd.DataFrame:
    """Pair each section with at most one indication of its seam.

    Parameters
    ----------
    sections : DataFrame
        Section table: ``section_id, seam_id, position_mm, position_tol_mm, flaw, purpose``.
    indications : DataFrame
        One row an indication: ``seam_id, indication, start_mm, end_mm, peak_mm``.
    extra_tolerance_mm : float
        Added to the position tolerance of each section.
    seams : DataFrame
        One row a seam: ``seam_id, welded_at, coil, recipe``.

    Returns
    -------
    DataFrame
        One row a section, sorted by ``section_id``, with `MATCH_COLUMNS`.
        ``indication`` and ``shared_with`` are nullable integers, ``distance_mm`` is
        NaN without a match. ``group`` is the coil, or the seam where no coil is known.
    """
    frame = _with_seam_facts(sections, seams, extra_tolerance_mm)
    numbers = np.full(len(frame), -1, dtype=np.int64)
    shared = np.full(len(frame), -1, dtype=np.int64)
    distance = np.full(len(frame), np.nan)
    of_seam = {str(seam): rows for seam, rows in indications.groupby("seam_id", sort=False)}
    nothing = indications.iloc[:0]
    for seam, rows in frame.groupby("seam_id", sort=False):
        found = of_seam.get(str(seam), nothing)
        pairs = _assign(rows, found)
        names = np.append(found["indication"].to_numpy(np.int64), -1)  # row -1 reads as "none"
        at = rows.index.to_numpy()
        numbers[at] = names[pairs.indication]
        shared[at] = names[pairs.shared]
        distance[at] = pairs.distance_mm
    frame["matched"] = numbers >= 0
    frame["indication"] = pd.array(np.where(numbers < 0, 0, numbers), dtype="Int64")
    frame.loc[numbers < 0, "indication"] = pd.NA
    frame["shared_with"] = pd.array(np.where(shared < 0, 0, shared), dtype="Int64")
    frame.loc[shared < 0, "shared_with"] = pd.NA
    frame["distance_mm"] = distance
    return frame[list(MATCH_COLUMNS)]
