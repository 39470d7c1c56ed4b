"""Does the classifier still behave as it did on the sections? If not, no correction is valid.

The correction lets the mix move and takes P(answer | truth) as it was. Two tests look for
the opposite. *Fit*: production's answers, split by whether the limit was exceeded, must be
some mixture of how the sections say each truth is answered; what no mixture explains speaks
against it. *Sections*: the answers to old and to new sections of the same truth are compared.

The first needs no new section, but a change that looks like another mix passes it unseen;
the second sees that too, and needs new sections. Neither can prove that nothing changed.

References
----------
Lipton, Z. C., Wang, Y.-X. and Smola, A. (2018). Detecting and correcting for label shift
with black box predictors. Proceedings of ICML 35, 3122-3130.
Phipson, B. and Smyth, G. K. (2010). Permutation p-values should never be zero.
Statistical Applications in Genetics and Molecular Biology 9(1), 39.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from seamtell.pipeline.flaw_mix.confusion_draws import SectionCounts, draw_confusion
from seamtell.pipeline.flaw_mix.simplex_fit import mix_on_simplex

__all__ = ["SHIFT_LEVEL", "fit_p", "sections_p"]

SHIFT_LEVEL = 0.01
"""Adjusted p below which the behaviour counts as changed: one false alarm in a hundred looks."""


def fit_p(
    sections: SectionCounts,
    shown: NDArray[np.float64],
    rng: np.random.Generator,
    *,
    worlds: int = 400,
) -> float:
    """P-value of production's counts by stratum under some mix and the sections' behaviour.

    Parametric bootstrap: confusion matrices drawn as the sections allow, counts drawn from
    the best mix under each, and the deviance of both fitted with the plug-in matrix.

    Parameters
    ----------
    sections : SectionCounts
    shown : float array of shape (s,)
        Production's indications by stratum, over their dispersion.
    rng : numpy.random.Generator
    worlds : int
        Bootstrap repetitions.
    """
    fine = _by_stratum(sections)
    total = float(shown.sum())
    if total < 1.0:
        return 1.0
    drawn = draw_confusion(fine, worlds, rng)
    # The plug-in matrix has zeros where sections saw nothing; the mean of the draws has none.
    plug_in = drawn.answer_given_truth.mean(axis=0)
    observed = _deviance(plug_in, shown[None, :])[0]
    mixes = mix_on_simplex(drawn.answer_given_truth, (shown / total)[None, :])
    expected = np.matmul(mixes[:, None, :], drawn.answer_given_truth)[:, 0, :]
    expected = expected / expected.sum(axis=1, keepdims=True)
    counts = rng.multinomial(max(1, round(total)), expected).astype(np.float64)
    return float((1 + (_deviance(plug_in, counts) >= observed).sum()) / (1 + worlds))


def sections_p(
    truths: NDArray[np.int64],
    answers: NDArray[np.int64],
    new: NDArray[np.bool_],
    rng: np.random.Generator,
    *,
    permutations: int = 999,
) -> float | None:
    """P-value of equal answers to old and new sections of the same truth; None without both.

    Permutation of old and new within each truth, with Pearson's statistic summed over the truths.

    Parameters
    ----------
    truths, answers : int array of shape (n,)
    new : bool array of shape (n,)
    rng : numpy.random.Generator
    """
    mixed = [t for t in np.unique(truths) if 0 < new[truths == t].sum() < (truths == t).sum()]
    if not mixed:
        return None
    rows = [np.flatnonzero(truths == t) for t in mixed]
    observed = sum(_pearson(answers[r], new[r]) for r in rows)
    exceeding = sum(
        sum(_pearson(answers[r], rng.permutation(new[r])) for r in rows) >= observed - 1e-9
        for _ in range(permutations)
    )
    return (1 + exceeding) / (1 + permutations)


def _by_stratum(sections: SectionCounts) -> SectionCounts:
    """The same sections with every stratum an answer of its own."""
    strata = sections.found.shape[1]
    return replace(sections, answer_of=np.arange(strata), answers=strata)


def _deviance(confusion: NDArray[np.float64], counts: NDArray[np.float64]) -> NDArray[np.float64]:
    total = counts.sum(axis=1, keepdims=True)
    shares = counts / total
    mix = mix_on_simplex(confusion[None, :, :], shares)
    expected = np.maximum(mix @ confusion, 1e-300)
    ratio = np.log(np.where(shares > 0, shares / expected, 1.0))
    return np.asarray(2.0 * total[:, 0] * (shares * ratio).sum(axis=1))


def _pearson(answers: NDArray[np.int64], new: NDArray[np.bool_]) -> float:
    table = np.array([np.bincount(answers[~new], minlength=64), np.bincount(answers[new], minlength=64)])
    table = table[:, table.sum(axis=0) > 0]
    expected = np.outer(table.sum(axis=1), table.sum(axis=0)) / table.sum()
    return float(((table - expected) ** 2 / expected).sum())
