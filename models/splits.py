"""Splits of sections that keep a coil or seam on one side."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from seamtell.features.errors import SeamtellError

__all__ = ["assert_no_leak", "grouped_folds", "time_ordered_holdout"]

_ATTEMPTS = 20
"""Orders of the groups tried until every class is in at least two folds."""


def time_ordered_holdout(
    groups: NDArray[np.str_], times: NDArray[np.datetime64], share: float
) -> NDArray[np.bool_]:
    """Hold out the newest groups, about `share` of the rows.

    A group counts with its newest row and is held out whole or not at all. The
    share of rows held out is the nearest to `share` that whole groups allow;
    at least one group stays on either side.

    Parameters
    ----------
    groups : str array of shape (n,)
    times : datetime64 array of shape (n,)
    share : float
        Between 0 and 1.

    Returns
    -------
    bool array of shape (n,)
        True where held out.

    Raises
    ------
    SeamtellError
        `share` is out of range, a time is missing, or there are fewer than two groups.

    Examples
    --------
    >>> days = np.array(["2026-01-01", "2026-01-02", "2026-01-03"], dtype="datetime64[D]")
    >>> time_ordered_holdout(np.array(["a", "b", "b"]), days, 0.3)
    array([False,  True,  True])
    """
    if not 0 < share < 1:
        raise SeamtellError(f"got the share {share} to hold out, expected one between 0 and 1")
    if np.isnat(times).any():
        raise SeamtellError("got a section without a time, expected the welding time of each section")
    names, member = np.unique(groups, return_inverse=True)
    if len(names) < 2:
        raise SeamtellError(
            f"got {len(names)} group of sections, expected at least 2 to hold one out",
            do="add sections of other coils or seams",
        )
    newest = np.array([times[member == g].max() for g in range(len(names))])
    order = np.argsort(newest, kind="stable")  # equal times: by group name, which np.unique sorted
    rows_from_here_on = np.bincount(member)[order][::-1].cumsum()[::-1]
    first_held = 1 + int(np.argmin(np.abs(rows_from_here_on[1:] - share * len(groups))))
    held = np.zeros(len(names), dtype=bool)
    held[order[first_held:]] = True
    return np.asarray(held[member], dtype=np.bool_)


def grouped_folds(
    groups: NDArray[np.str_], codes: NDArray[np.int64], folds: int, seed: int
) -> NDArray[np.int64]:
    """Deal whole groups into folds so that each fold has about its share of each class.

    With few groups the number of folds shrinks to the number of groups of the
    scarcest class.

    Parameters
    ----------
    groups : str array of shape (n,)
    codes : int array of shape (n,)
        Class of each row, 0 … K-1.
    folds : int
        At least 2.
    seed : int
        Decides among equally good deals.

    Returns
    -------
    int array of shape (n,)
        Fold of each row, 0 … at most ``folds - 1``. Every class is in two folds
        or more, so no training part is without it.

    Raises
    ------
    SeamtellError
        A class comes from one group only, or no deal spreads every class.
    """
    names, member = np.unique(groups, return_inverse=True)
    table = np.zeros((len(names), int(codes.max()) + 1))
    np.add.at(table, (member, codes), 1.0)
    groups_of_class = (table > 0).sum(axis=0)
    if folds < 2 or groups_of_class.min() < 2:
        raise SeamtellError(
            f"got {folds} folds and a class in {groups_of_class.min()} group, expected at least 2 of either",
            do="add sections of other coils or seams",
        )
    rng = np.random.default_rng(seed)
    # As many folds as the scarcest class has groups; more only where so few cannot be dealt.
    for used in range(min(folds, int(groups_of_class.min())), folds + 1):
        for _ in range(_ATTEMPTS):
            dealt = _deal(table, used, rng)
            in_fold = np.zeros((used, table.shape[1]))
            np.add.at(in_fold, dealt, table)
            if ((in_fold > 0).sum(axis=0) >= 2).all() and (in_fold.sum(axis=1) > 0).all():
                return np.asarray(dealt[member], dtype=np.int64)
    raise SeamtellError(
        f"no way found to deal {len(names)} groups into {folds} folds with every class in two of them",
        do="add sections of other coils or seams, or ask for more folds",
    )


def _deal(table: NDArray[np.float64], folds: int, rng: np.random.Generator) -> NDArray[np.int64]:
    """Deal groups, rarest class and largest first, each to where its classes are scarcest."""
    shares = table / table.sum(axis=0)  # a section of a rare class weighs more
    order = rng.permutation(len(table))
    order = order[np.argsort(-shares.max(axis=1)[order], kind="stable")]
    filled = np.zeros((folds, table.shape[1]))
    dealt = np.empty(len(table), dtype=np.int64)
    for group in order:
        cost = ((filled + shares[group]) ** 2).sum(axis=1) - (filled**2).sum(axis=1)
        dealt[group] = np.lexsort((filled.sum(axis=1), np.round(cost, 12)))[0]
        filled[dealt[group]] += shares[group]
    return dealt


def assert_no_leak(train_groups: NDArray[np.str_], test_groups: NDArray[np.str_]) -> None:
    """Refuse a split that has a group on both sides.

    Raises
    ------
    SeamtellError
        Naming a group that is on both sides.
    """
    both = np.intersect1d(train_groups, test_groups)
    if len(both):
        raise SeamtellError(
            f"got group '{both[0]}' (and {len(both) - 1} more) on both sides of a split, "
            "expected every coil or seam on one side only",
            do="split by group",
        )
