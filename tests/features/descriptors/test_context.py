from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from seamtell.features.descriptors import context
from seamtell.features.descriptors.profile import IndicationView

BUMP = np.array([0.0, 1.0, 5.0, 1.0, -0.7])


def test_level_and_noise_are_passed_on(make_view: Callable[..., IndicationView]) -> None:
    view = make_view(BUMP, BUMP)
    assert context.baseline_level_pct.specular(view) == 7.0
    assert context.baseline_level_pct.scatter(view) == 0.5
    assert context.noise_pct.scatter(view) == 1e-3


def test_undershoot_is_a_share_of_the_specular_level(make_view: Callable[..., IndicationView]) -> None:
    view = make_view(BUMP, np.abs(BUMP))
    assert context.undershoot.specular(view) == pytest.approx(0.1)
    assert context.undershoot.scatter(view) == 0.0


def test_distance_to_the_end_is_cut_off_for_the_model(make_view: Callable[..., IndicationView]) -> None:
    near, far = make_view(BUMP, BUMP, end_distance_mm=18.8), make_view(BUMP, BUMP, end_distance_mm=1e4)
    assert context.end_distance_mm(far) == 1e4
    assert context.end_distance_beams(near) == pytest.approx(2.0)
    assert context.end_distance_beams(far) == 10.0


def test_neighbours_within_five_beam_widths_are_counted(make_view: Callable[..., IndicationView]) -> None:
    assert context.neighbours(make_view(BUMP, BUMP, neighbour_gaps_mm=(3.0, 46.9, 47.1))) == 2.0


@pytest.mark.parametrize(
    ("a", "b", "expected"),
    [
        (1.5, 1.3, 1.3 / 1.5),
        (1.3, 1.5, 1.3 / 1.5),
        (math.nan, 1.3, 1.0),
        (1.5, math.nan, 1.0),
        (0.0, 1.3, 1.0),
    ],
)
def test_thickness_ratio_does_not_care_which_side(
    a: float, b: float, expected: float, make_view: Callable[..., IndicationView]
) -> None:
    view = make_view(BUMP, BUMP, thickness_a_mm=a, thickness_b_mm=b)
    assert context.thickness_ratio(view) == pytest.approx(expected)
