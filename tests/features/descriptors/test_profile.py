from __future__ import annotations

from collections.abc import Callable

import numpy as np

from seamtell.features.contracts import Channel
from seamtell.features.descriptors.profile import IndicationView, Profile


def test_equally_high_maxima_on_one_flat_top_are_one_hump(make_profile: Callable[..., Profile]) -> None:
    top = make_profile(np.array([0.0, 5.0, 10.0, 9.9, 10.0, 5.0, 0.0]))
    assert [hump.index for hump in top.humps] == [2]


def test_middle_of_a_flat_top_is_its_hump_and_its_peak(make_profile: Callable[..., Profile]) -> None:
    top = make_profile(np.array([0.0, 5.0, 10.0, 10.0, 10.0, 5.0, 0.0]))
    assert [hump.index for hump in top.humps] == [3]
    assert top.peak == 3


def test_flat_profile_has_no_humps_and_no_height(make_profile: Callable[..., Profile]) -> None:
    flat = make_profile(np.full(5, -1.0))
    assert flat.humps == ()
    assert flat.height_pct == 0.0
    assert flat.centre_mm == flat.position_mm[2]


def test_humps_outside_the_extent_do_not_count(make_profile: Callable[..., Profile]) -> None:
    values = np.array([0.0, 9.0, 0.0, 5.0, 0.0, 0.0])
    assert [hump.index for hump in make_profile(values, extent=(2, 5)).humps] == [3]


def test_single_sample_has_the_beam_as_its_pitch(make_profile: Callable[..., Profile]) -> None:
    one = make_profile(np.array([4.0]))
    assert one.pitch_mm == 9.4
    assert one.crossings(0.5).width_mm == 0.0


def test_excursion_below_zero_everywhere_crosses_nothing(make_profile: Callable[..., Profile]) -> None:
    below = make_profile(np.array([-3.0, -1.0, -2.0]))
    assert below.outer_crossings(0.5).width_mm == below.crossings(0.5).width_mm == 0.0


def test_view_gives_the_profile_of_a_channel(make_view: Callable[..., IndicationView]) -> None:
    view = make_view(np.array([0.0, 1.0, 0.0]), np.array([0.0, 2.0, 0.0]))
    assert view.profile(Channel.SPECULAR) is view.specular
    assert view.profile(Channel.SCATTER) is view.scatter
    assert view.beam_mm == 9.4
