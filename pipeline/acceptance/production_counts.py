"""How many indications and unflagged places production had, and which cut lies where.

A cut counts as unflagged when no indication lies within its tolerance. So the stretch
of seam that random cuts can find unflagged is the seam length without the
indications *and* without one tolerance to either side of each. That length, over the
length that one cut examines, is the number of unflagged places.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seamtell.features.contracts import Purpose
from seamtell.pipeline.evaluation.answered import JUDGED
from seamtell.pipeline.evaluation.result import Outcome

__all__ = [
    "ABOVE_LIMIT",
    "BELOW_LIMIT",
    "UNFLAGGED",
    "Cuts",
    "Production",
    "cuts_of",
    "place_length_mm",
    "production_of",
    "unflagged_length_mm",
]

UNFLAGGED = ""
"""Kind of indication of a cut where nothing was indicated."""

ABOVE_LIMIT = "above the limit"
BELOW_LIMIT = "below the limit"
"""The two kinds of indication: shops cut those above the limit more often."""
_SHORTEST_PLACE_MM = 1.0


@dataclass(frozen=True, eq=False)
class Cuts:
    """Judged sections, one entry of each array a section, shape (n,).

    Parameters
    ----------
    truths : str array
        What the section found, a `Flaw`.
    kinds : str array
        Kind of the indication at the section, `UNFLAGGED` where nothing was indicated.
    random : bool array
        Whether the place was drawn at random.
    groups : str array
        Coil or seam: what is drawn in the bootstrap.
    length_mm : float array
        Measured length of the flaw, NaN where unknown.
    probability : float array, optional
        With which a plan drew the indication, NaN where no plan did; None: no cut was planned.
    """

    truths: NDArray[np.str_]
    kinds: NDArray[np.str_]
    random: NDArray[np.bool_]
    groups: NDArray[np.str_]
    length_mm: NDArray[np.float64]
    probability: NDArray[np.float64] | None = None


@dataclass(frozen=True)
class Production:
    """How much there was to be cut.

    Parameters
    ----------
    indications : mapping of str to int
        Indications of each kind.
    unflagged_places : float
        Places where nothing was indicated: seam length without the indications, over `place_mm`.
    place_mm : float
        Length of seam that one cut examines.
    """

    indications: Mapping[str, int]
    unflagged_places: float
    place_mm: float

    def __post_init__(self) -> None:
        if not (self.place_mm > 0 and self.unflagged_places >= 0):
            raise ValueError(
                f"got {self.unflagged_places} places of {self.place_mm} mm, expected >= 0 places of > 0 mm"
            )
        if UNFLAGGED in self.indications or any(n < 0 for n in self.indications.values()):
            raise ValueError("every kind of indication needs a name and a count of zero or more")


def _kind(exceeds_limit: NDArray[np.bool_]) -> NDArray[np.str_]:
    return np.where(exceeds_limit, ABOVE_LIMIT, BELOW_LIMIT)


def cuts_of(
    frame: pd.DataFrame,
    indications: pd.DataFrame,
    sections: pd.DataFrame,
    probabilities: Mapping[str, float] | None = None,
) -> Cuts:
    """Read the judged sections as cuts.

    A flaw that hid in the indication of another one counts as met at an unflagged
    place: nothing showed it.

    Parameters
    ----------
    frame : DataFrame
        Answered sections: ``section_id, seam_id, indication, outcome, purpose, truth, group``.
    indications : DataFrame
        Described indications: ``seam_id, indication, exceeds_limit``.
    sections : DataFrame
        Section table: ``section_id, length_mm``.
    probabilities : mapping of str to float, optional
        Selection probability of each planned section.
    """
    judged = frame[frame["outcome"].isin(JUDGED)]
    drawn = probabilities or {}
    without = judged["outcome"].isin([Outcome.MISSED, Outcome.QUIET]).to_numpy(bool)
    exceeds = indications.set_index(["seam_id", "indication"])["exceeds_limit"]
    keys = pd.MultiIndex.from_arrays([judged["seam_id"], judged["indication"].fillna(-1).astype("int64")])
    above = (exceeds.reindex(keys) == True).to_numpy(bool)  # noqa: E712 (missing reads False)
    lengths = sections.set_index("section_id")["length_mm"].reindex(judged["section_id"])
    return Cuts(
        truths=judged["truth"].to_numpy(str),
        kinds=np.where(without, UNFLAGGED, _kind(above)).astype(str),
        random=(judged["purpose"] == Purpose.RANDOM).to_numpy(bool),
        groups=judged["group"].to_numpy(str),
        length_mm=lengths.to_numpy(float),
        probability=np.array([drawn.get(name, np.nan) for name in judged["section_id"]], dtype=np.float64),
    )


def place_length_mm(sections: pd.DataFrame) -> float:
    """Length of seam that one random cut examines: its own position tolerance to both sides, the median.

    A shop that examines a known length at each cut states that instead. Too short a place
    overstates the miss rate of short flaws, too long a place understates it, so the extra
    tolerance of the matching is not part of it, and a tolerance of zero still counts 1 mm.

    Parameters
    ----------
    sections : DataFrame
        Section table: ``position_tol_mm, purpose``.
    """
    random = sections.loc[sections["purpose"] == Purpose.RANDOM, "position_tol_mm"]
    return max(_SHORTEST_PLACE_MM, 2 * float(random.median())) if len(random) else _SHORTEST_PLACE_MM


def unflagged_length_mm(seams: pd.DataFrame, indications: pd.DataFrame, tolerance_mm: float) -> float:
    """Seam length farther than `tolerance_mm` from every indication; overlaps count once.

    Parameters
    ----------
    seams : DataFrame
        ``seam_id, start_mm, pitch_mm, n_samples``.
    indications : DataFrame
        ``seam_id, start_mm, end_mm``.

    Examples
    --------
    >>> seams = pd.DataFrame({"seam_id": ["a"], "start_mm": [0.0], "pitch_mm": [1.0], "n_samples": [101]})
    >>> found = pd.DataFrame({"seam_id": ["a", "a"], "start_mm": [10.0, 14.0], "end_mm": [12.0, 20.0]})
    >>> unflagged_length_mm(seams, found, 2.0)
    86.0
    """
    start = seams["start_mm"].to_numpy(float)
    end = start + (seams["n_samples"].to_numpy(float) - 1) * seams["pitch_mm"].to_numpy(float)
    ends = dict(zip(seams["seam_id"], zip(start, end, strict=True), strict=True))
    flagged = 0.0
    for seam, rows in indications[indications["seam_id"].isin(ends)].groupby("seam_id", sort=False):
        first, last = ends[seam]
        reached = first
        rows = rows.sort_values("start_mm")
        for low, high in zip(rows["start_mm"] - tolerance_mm, rows["end_mm"] + tolerance_mm, strict=True):
            low, high = max(low, reached), min(high, last)
            flagged += max(0.0, high - low)
            reached = max(reached, high)
    return float((end - start).sum() - flagged)


def production_of(
    seams: pd.DataFrame, indications: pd.DataFrame, *, tolerance_mm: float, place_mm: float
) -> Production:
    """Count production.

    Parameters
    ----------
    seams : DataFrame
        Every seam of the period, sectioned or not: ``seam_id, start_mm, pitch_mm, n_samples``.
    indications : DataFrame
        Their indications: ``seam_id, start_mm, end_mm, exceeds_limit``; others are left out.
    tolerance_mm : float
        Within which a section meets an indication: its own and the extra tolerance.
    place_mm : float
        Length of seam that one cut examines, see `place_length_mm`.
    """
    here = indications[indications["seam_id"].isin(seams["seam_id"])]
    above = int(here["exceeds_limit"].to_numpy(bool).sum())
    return Production(
        indications={ABOVE_LIMIT: above, BELOW_LIMIT: len(here) - above},
        unflagged_places=unflagged_length_mm(seams, here, tolerance_mm) / place_mm,
        place_mm=place_mm,
    )
