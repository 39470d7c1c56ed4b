from __future__ import annotations

import numpy as np
import pytest

from seamtell.models.prior import Prior


def test_the_prior_is_the_share_of_each_class_with_one_section_added() -> None:
    # Laplace's rule of succession: (n_c + 1) / (n + K).
    codes = np.array([0, 0, 0, 1])
    fitted = Prior().fit(
        np.zeros((4, 2)), codes, np.array([0.5, 0.5, 0.5, 2.5]), ("a", "b"), ("x", "y", "z"), 1
    )
    assert fitted.predict_proba(np.zeros((2, 2)))[1] == pytest.approx([4 / 7, 2 / 7, 1 / 7])
