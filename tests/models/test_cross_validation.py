from __future__ import annotations

from dataclasses import replace
from typing import ClassVar

import numpy as np
import pandas as pd
import pytest

from seamtell.features.errors import SeamtellError
from seamtell.models import cross_validation
from seamtell.models.candidates import CANDIDATES
from seamtell.models.cross_validation import cross_validate, size_band_validate, size_bands
from seamtell.models.labelled_table import LabelledTable, ordered_classes
from seamtell.models.prior import FittedPrior, Prior
from seamtell.models.splits import grouped_folds


class Watcher(Prior):
    """Remembers what it was shown."""

    shown: ClassVar[list[np.ndarray]] = []

    def fit(self, values, codes, weights, names, classes, seed, groups=None) -> FittedPrior:
        self.shown.append(values)
        return super().fit(values, codes, weights, names, classes, seed, groups)


@pytest.fixture
def shown(monkeypatch: pytest.MonkeyPatch) -> list[np.ndarray]:
    monkeypatch.setattr(cross_validation, "CANDIDATES", {**CANDIDATES, "watcher": Watcher})
    monkeypatch.setattr(Watcher, "shown", [])
    return Watcher.shown


def parts(table: LabelledTable):
    classes = ordered_classes(table.truths)
    codes = np.array([classes.index(t) for t in table.truths.tolist()])
    return codes, classes, grouped_folds(table.groups, codes, 4, 1)


def numbered(table: LabelledTable) -> LabelledTable:
    """The first descriptor is the row number, so that a fit shows which rows it got."""
    values = table.values.copy()
    values[:, 0] = np.arange(len(table))
    return replace(table, values=values)


def test_no_fit_sees_its_own_fold(shop_table: LabelledTable, shown: list[np.ndarray]) -> None:
    codes, classes, folds = parts(shop_table)
    cross_validate("watcher", numbered(shop_table), codes, classes, folds, 1)
    for fold, values in zip(np.unique(folds), shown, strict=True):
        assert set(values[:, 0]) == set(np.flatnonzero(folds != fold))


def test_folds_that_split_a_coil_are_refused(shop_table: LabelledTable) -> None:
    codes, classes, folds = parts(shop_table)
    leaking = folds.copy()
    leaking[0] = (folds[1] + 1) % 4  # rows 0 and 1 come from one coil
    leaking[1] = folds[1]
    with pytest.raises(SeamtellError, match="got group 'coil-000'"):
        cross_validate("prior", shop_table, codes, classes, leaking, 1)


def test_size_bands_are_the_thirds_that_pandas_cuts() -> None:
    rng = np.random.default_rng(1)
    codes, sizes_mm = np.arange(90) % 2, rng.gamma(2.0, 5.0, 90)
    bands = size_bands(sizes_mm, codes)
    for c in (0, 1):
        reference = pd.qcut(sizes_mm[codes == c], 3, labels=False)
        assert (bands[codes == c] == reference).all()


def test_a_class_with_few_or_equal_sizes_has_no_bands() -> None:
    codes = np.array([0] * 5 + [1] * 9)
    sizes_mm = np.array([1.0, 2.0, 3.0, 4.0, 5.0] + [2.0] * 9)
    assert (size_bands(sizes_mm, codes) == -1).all()


def test_no_fit_sees_the_size_band_or_the_fold_that_it_is_asked_about(shop_table, shown) -> None:
    codes, classes, folds = parts(shop_table)
    bands = size_bands(shop_table.sizes_mm, codes)
    result = size_band_validate("watcher", numbered(shop_table), codes, classes, folds, 1)
    assert (result.rows == (bands >= 0)).all()
    assert len(shown) == 12
    for (band, fold), values in zip([(b, f) for b in range(3) for f in range(4)], shown, strict=True):
        assert set(values[:, 0]) == set(np.flatnonzero((bands != band) & (folds != fold)))


def test_without_sizes_there_is_no_such_cross_validation(shop) -> None:
    table = shop({"pinhole": 20, "sound": 20}, sizes=False)
    assert size_band_validate("prior", table, *parts(table), 1) is None
    unknown = replace(table, sizes_mm=np.full(40, np.nan))
    assert size_band_validate("prior", unknown, *parts(unknown), 1) is None
