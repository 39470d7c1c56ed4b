"""What a cut at an indication is expected to tell, from what is known before it is made.

Five reasons, each between 0 and 1, added up with stated weights:

- *thin class*: how much of the classes that lack sections the classifier expects there, each by its
  lack over that of the neediest class;
- *ambiguous*: entropy of its probabilities, over that of an even split;
- *novel*: how rarely a training section looks as strange;
- *stratum*: line and recipe with fewer sections than a stratum needs to be judged;
- *size*: lengths of the expected flaw at which few sections lie, so that POD has no support.

Thin classes weigh most, because criteria are met by sections of the class they ask for; what is
ambiguous or novel teaches a model, and is often a false indication. The weights were chosen on
simulated shops other than those that `benchmarks/cutplan_campaigns.py` reports. They move
probabilities only: whatever they are, figures weighed by the stored probabilities stay unbiased.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from seamtell.features.contracts import Flaw
from seamtell.pipeline.acceptance.strata import MIN_SECTIONS

__all__ = ["LENGTH_BANDS_MM", "WEIGHTS", "Ask", "Known", "Reason", "Worth", "length_band", "worth_of"]

Floats = NDArray[np.float64]


class Reason(StrEnum):
    """Why a cut is worth its hours."""

    THIN_CLASS = "thin class"
    AMBIGUOUS = "ambiguous"
    NOVEL = "novel"
    STRATUM = "few sections of its line and recipe"
    SIZE = "few sections of its size"


WEIGHTS: Mapping[Reason, float] = {
    Reason.THIN_CLASS: 0.70,
    Reason.AMBIGUOUS: 0.05,
    Reason.NOVEL: 0.10,
    Reason.STRATUM: 0.05,
    Reason.SIZE: 0.10,
}
"""They add up to one."""

LENGTH_BANDS_MM: tuple[float, ...] = (4.0, 8.0, 16.0, 32.0)
"""Ends of the bands of flaw length."""
_NOVEL_FROM_P = 0.20
"""Above this novelty p-value an indication looks like the training sections."""
_FLAWS: tuple[str, ...] = tuple(flaw.value for flaw in Flaw)


@dataclass(frozen=True, eq=False)
class Ask:
    """Indications that could be cut; arrays of shape (m,).

    Parameters
    ----------
    probabilities : array of shape (m, 5)
        Calibrated, in the order of `Flaw`; NaN rows where the model said nothing.
    novelty_p : array
        NaN where the model said nothing.
    length_mm : array
        Extent of the indication less one beam width, at least zero: about the length of what is there.
    strata : str array
        Line and recipe.
    """

    probabilities: Floats
    novelty_p: Floats
    length_mm: Floats
    strata: NDArray[np.str_]


@dataclass(frozen=True, eq=False)
class Known:
    """What the sections so far cover.

    Parameters
    ----------
    need : array of shape (5,)
        0 to 1: how much each class needs more sections, in the order of `Flaw`.
    by_stratum : mapping of str to int
        Sections by line and recipe.
    by_band : int array of shape (5, bands)
        Sections by flaw and length band.
    """

    need: Floats
    by_stratum: Mapping[str, int]
    by_band: NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Worth:
    """Worth and its parts.

    Parameters
    ----------
    total : array of shape (m,)
        0 to 1.
    parts : mapping of Reason to array of shape (m,)
        Weighted; they add up to `total`.
    """

    total: Floats
    parts: Mapping[Reason, Floats]

    def main_reasons(self, i: int) -> str:
        """Up to two reasons that carry most of the worth of indication `i`, in words."""
        ranked = sorted(self.parts, key=lambda reason: -float(self.parts[reason][i]))
        told = [reason.value for reason in ranked[:2] if self.parts[reason][i] >= 0.25 * self.total[i] > 0]
        return ", ".join(told) or "kept in the draw so that every indication can be cut"


def length_band(length_mm: Floats) -> NDArray[np.int64]:
    """Band of `LENGTH_BANDS_MM`, shape (m,)."""
    return np.searchsorted(np.array(LENGTH_BANDS_MM), length_mm, side="right").astype(np.int64)


def worth_of(ask: Ask, known: Known) -> Worth:
    """Worth of every indication.

    An indication on which the model said nothing counts as an even split, and as novel.
    """
    told = np.asarray(np.isfinite(ask.probabilities).all(axis=1))
    p = np.where(told[:, None], ask.probabilities, 1.0 / len(_FLAWS))
    novelty = np.where(told & np.isfinite(ask.novelty_p), ask.novelty_p, 0.0)
    lacking = _lack(known.by_band)[:, length_band(ask.length_mm)].T
    is_flaw = np.array([name != Flaw.SOUND.value for name in _FLAWS], dtype=float)
    stratum = np.array([float(_lack(np.array(known.by_stratum.get(name, 0)))) for name in ask.strata])
    raw = {
        Reason.THIN_CLASS: p @ _relative(known.need),
        Reason.AMBIGUOUS: _entropy(p),
        Reason.NOVEL: np.clip(1.0 - novelty / _NOVEL_FROM_P, 0.0, 1.0),
        Reason.STRATUM: stratum,
        Reason.SIZE: (p * lacking * is_flaw).sum(axis=1),
    }
    parts = {reason: WEIGHTS[reason] * np.asarray(values, dtype=float) for reason, values in raw.items()}
    return Worth(np.sum(list(parts.values()), axis=0), parts)


def _relative(need: Floats) -> Floats:
    """Need over the greatest one: what the neediest class lacks counts in full, however little it is."""
    return np.asarray(need / need.max() if need.max() > 0 else need)


def _lack(sections: NDArray[np.int64]) -> Floats:
    """One without a section, zero from `MIN_SECTIONS` on."""
    return np.clip(1.0 - np.asarray(sections, dtype=float) / MIN_SECTIONS, 0.0, 1.0)


def _entropy(p: Floats) -> Floats:
    """Shannon entropy of each row over that of an even split, shape (m,)."""
    with np.errstate(divide="ignore", invalid="ignore"):
        terms = np.where(p > 0, p * np.log(p), 0.0)
    return np.asarray(-terms.sum(axis=1) / np.log(p.shape[1]))
