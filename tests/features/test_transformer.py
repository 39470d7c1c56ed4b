from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from sklearn.base import clone
from sklearn.exceptions import NotFittedError
from sklearn.pipeline import make_pipeline
from sklearn.preprocessing import StandardScaler
from sklearn.utils.estimator_checks import check_estimator

from seamtell.features.contracts import RecipeLimits, SeamTrace
from seamtell.features.describer import SeamDescriber
from seamtell.features.descriptors.registry import model_names, names
from seamtell.features.errors import SeamtellError

X_MM = np.arange(0.0, 300.0, 0.5)


@pytest.fixture
def seams(make_trace: Callable[..., SeamTrace], hump: Callable[..., np.ndarray]) -> list[SeamTrace]:
    rng = np.random.default_rng(1)
    built = []
    for number, places in enumerate(([80.0, 200.0], [], [150.0])):
        humps = sum((hump(X_MM, at, 12.0) for at in places), np.zeros(len(X_MM)))
        specular = 7.0 + humps + rng.normal(0.0, 0.3, len(X_MM))
        scatter = np.abs(0.3 + humps + rng.normal(0.0, 0.15, len(X_MM)))
        built.append(make_trace(specular, scatter, seam_id=f"S-{number}"))
    return built


def test_table_has_one_row_per_indication_and_names_its_seam(
    seams: list[SeamTrace], limits: RecipeLimits
) -> None:
    table = SeamDescriber(limits).fit_transform(seams)
    assert isinstance(table, pd.DataFrame)
    assert list(table.index) == [("S-0", 0), ("S-0", 1), ("S-2", 0)]
    assert tuple(table.columns) == names()


def test_names_of_the_columns_are_those_of_get_feature_names_out(
    seams: list[SeamTrace], limits: RecipeLimits
) -> None:
    describer = SeamDescriber(limits, descriptors=model_names()).set_output(transform="pandas").fit(seams)
    assert tuple(describer.get_feature_names_out()) == model_names()
    assert tuple(describer.transform(seams).columns) == model_names()


def test_it_works_in_a_pipeline_and_can_be_cloned(seams: list[SeamTrace], limits: RecipeLimits) -> None:
    pipeline = clone(make_pipeline(SeamDescriber(limits, descriptors=model_names()), StandardScaler()))
    assert pipeline.fit_transform(seams).shape == (3, len(model_names()))


def test_limits_may_be_given_by_recipe_or_not_at_all(seams: list[SeamTrace], limits: RecipeLimits) -> None:
    by_recipe = SeamDescriber({"R1": limits}).fit_transform(seams)
    without = SeamDescriber(beam_width_mm=9.4).fit_transform(seams)
    assert by_recipe["specular_fwhm_mm"].tolist() == without["specular_fwhm_mm"].tolist()
    assert (without["specular_over_limit"] == 0.0).all()


def test_recipe_without_limits_is_named(seams: list[SeamTrace], limits: RecipeLimits) -> None:
    seams[2] = replace(seams[2], recipe="R9")
    with pytest.raises(SeamtellError, match="no limits for recipe 'R9'"):
        SeamDescriber({"R1": limits}).fit_transform(seams)


def test_what_is_no_sequence_of_traces_is_refused(seams: list[SeamTrace]) -> None:
    with pytest.raises(SeamtellError, match="got ndarray, expected a sequence of SeamTrace"):
        SeamDescriber().fit(np.ones((3, 3)))
    with pytest.raises(SeamtellError, match="got SeamTrace, expected a sequence"):
        SeamDescriber().fit(seams[0])
    with pytest.raises(SeamtellError, match="got str at place 1, expected SeamTrace"):
        SeamDescriber().fit([seams[0], "S-2"])


def test_wrong_parameters_are_refused_when_fitting(seams: list[SeamTrace]) -> None:
    with pytest.raises(SeamtellError, match="got beam_width_mm 0"):
        SeamDescriber(beam_width_mm=0.0).fit(seams)
    with pytest.raises(SeamtellError, match="expected 0 < leave_sigma <= enter_sigma"):
        SeamDescriber(enter_sigma=1.0).fit(seams)
    with pytest.raises(KeyError, match="no descriptor 'beauty'"):
        SeamDescriber(descriptors=["beauty"]).fit(seams)


def test_other_output_than_pandas_is_refused() -> None:
    with pytest.raises(SeamtellError, match="got output 'polars', expected 'pandas'"):
        SeamDescriber().set_output(transform="polars")


def test_fitting_again_and_describing_again_change_nothing(
    seams: list[SeamTrace], limits: RecipeLimits
) -> None:
    describer = SeamDescriber(limits)
    assert describer.fit(seams) is describer
    first = describer.transform(seams)
    pd.testing.assert_frame_equal(describer.fit(seams).transform(seams), first)


def test_seams_are_described_one_by_one_in_any_order(seams: list[SeamTrace], limits: RecipeLimits) -> None:
    describer = SeamDescriber(limits).fit(seams)
    whole = describer.transform(seams)
    pd.testing.assert_frame_equal(
        pd.concat([describer.transform([one]) for one in (seams[0], seams[2])]), whole
    )
    pd.testing.assert_frame_equal(describer.transform(seams[::-1]).sort_index(), whole)


def test_describing_before_fitting_is_refused(seams: list[SeamTrace]) -> None:
    with pytest.raises(NotFittedError, match="not fitted yet"):
        SeamDescriber().transform(seams)
    with pytest.raises(NotFittedError, match="not fitted yet"):
        SeamDescriber().get_feature_names_out()


# These checks of scikit-learn hand in a numeric table, and SeamDescriber takes seam traces only.
# What they look for is tested above with seam traces where it makes sense for them.
NEED_A_NUMERIC_TABLE = {
    "check_dict_unchanged",
    "check_dont_overwrite_parameters",
    "check_estimator_sparse_array",
    "check_estimator_sparse_matrix",
    "check_estimator_sparse_tag",
    "check_estimators_dtypes",
    "check_estimators_fit_returns_self",
    "check_estimators_overwrite_params",
    "check_estimators_pickle",
    "check_f_contiguous_array_estimator",
    "check_fit2d_1feature",
    "check_fit2d_1sample",
    "check_fit_check_is_fitted",
    "check_fit_idempotent",
    "check_fit_score_takes_y",
    "check_methods_sample_order_invariance",
    "check_methods_subset_invariance",
    "check_pipeline_consistency",
    "check_positive_only_tag_during_fit",
    "check_readonly_memmap_input",
    "check_transformer_general",
    "check_transformer_preserve_dtypes",
}
MUST_PASS = {
    "check_do_not_raise_errors_in_init_or_set_params",
    "check_estimator_cloneable",
    "check_estimator_repr",
    "check_estimators_unfitted",
    "check_get_params_invariance",
    "check_mixin_order",
    "check_n_features_in_after_fitting",
    "check_no_attributes_set_in_init",
    "check_parameters_default_constructible",
    "check_set_params",
    "check_transformers_unfitted",
    "check_valid_tag_types",
}


def chain(error: BaseException | None) -> Iterator[BaseException]:
    """An exception and all that it was raised from."""
    while error is not None:
        yield error
        error = error.__cause__ or error.__context__


def test_check_estimator_passes_but_for_the_checks_that_hand_in_a_numeric_table() -> None:
    results = check_estimator(SeamDescriber(), on_skip=None, on_fail=None)
    failed = [result for result in results if result["status"] == "failed"]
    assert {result["check_name"] for result in failed} <= NEED_A_NUMERIC_TABLE
    for result in failed:
        causes = [error for error in chain(result["exception"]) if isinstance(error, SeamtellError)]
        assert any("expected a sequence of SeamTrace" in str(error) for error in causes), result
    assert {result["check_name"] for result in results if result["status"] == "passed"} >= MUST_PASS
