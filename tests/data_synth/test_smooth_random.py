import numpy as np
import pytest

from seamtell.data_synth.smooth_random import smooth_random


@pytest.mark.parametrize("correlation", [0.5, 4.0, 30.0])
def test_has_unit_spread_and_the_stated_correlation(correlation: float) -> None:
    rng = np.random.default_rng(1)
    values = np.array([smooth_random(600, correlation, rng) for _ in range(400)])
    assert values.shape == (400, 600)
    assert values.std() == pytest.approx(1.0, abs=0.05)
    lag = max(round(correlation), 1)
    # Gaussian autocorrelation: exp(-(lag / correlation)^2).
    expected = np.exp(-((lag / correlation) ** 2))
    assert np.mean(values[:, :-lag] * values[:, lag:]) == pytest.approx(expected, abs=0.06)
