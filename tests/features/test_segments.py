from __future__ import annotations

import numpy as np

from seamtell.features.segments import Segment, find_segments

N = 200
BEAM = 18.8


def gauss(at: float, height: float, fwhm: float = BEAM) -> np.ndarray:
    return height * np.exp(-4.0 * np.log(2.0) * ((np.arange(N) - at) / fwhm) ** 2)


def segments(
    excursion: np.ndarray, above: np.ndarray | None = None, judged: np.ndarray | None = None
) -> list[Segment]:
    return find_segments(
        excursion,
        np.zeros(N, dtype=bool) if above is None else above,
        np.ones(N, dtype=bool) if judged is None else judged,
        beam_samples=BEAM,
        enter_sigma=5.0,
        leave_sigma=2.5,
    )


def test_weak_hump_ends_where_it_leaves_the_noise() -> None:
    ((first, last),) = segments(gauss(100, 6.0))
    # 6 exp(-4 ln 2 (d/b)^2) = 2.5 at d = b/2 sqrt(log2(2.4))
    reach = BEAM / 2.0 * np.sqrt(np.log2(6.0 / 2.5))
    assert (first, last) == (int(np.ceil(100 - reach)), int(np.floor(100 + reach)))


def test_what_stays_below_the_entry_threshold_is_nothing() -> None:
    assert segments(gauss(100, 4.9)) == []


def test_extent_of_a_strong_hump_does_not_depend_on_the_noise() -> None:
    assert segments(gauss(100, 500.0)) == segments(gauss(100, 50.0))


def test_tails_do_not_join_two_strong_humps_three_beams_apart() -> None:
    assert len(segments(gauss(60, 900.0) + gauss(60 + 3 * BEAM, 700.0))) == 2


def test_two_humps_closer_than_a_beam_are_one() -> None:
    assert len(segments(gauss(80, 30.0) + gauss(80 + 0.95 * BEAM, 30.0))) == 1


def test_narrow_run_is_noise() -> None:
    excursion = np.zeros(N)
    excursion[90:94] = 8.0
    assert segments(excursion) == []


def test_narrow_run_at_the_edge_of_a_dead_zone_may_be_the_rest_of_a_flaw() -> None:
    judged = np.ones(N, dtype=bool)
    judged[:100] = False
    # It ends at 15 % of its height, b/2 sqrt(log2(20/3)) = 15.5 samples from its peak in the dead zone.
    assert segments(gauss(86.8, 20.0), judged=judged) == [(100, 102)]


def test_single_sample_above_the_limit_is_a_segment_whatever_its_width() -> None:
    above = np.zeros(N, dtype=bool)
    above[50] = True
    assert segments(np.zeros(N), above) == [(50, 50)]


def test_sample_above_the_limit_in_a_dead_zone_is_left_out() -> None:
    above, judged = np.zeros(N, dtype=bool), np.ones(N, dtype=bool)
    above[50], judged[:60] = True, False
    assert segments(np.zeros(N), above, judged) == []


def test_short_gap_is_bridged_and_a_long_one_is_not() -> None:
    excursion = np.zeros(N)
    excursion[20:30] = excursion[35:45] = 8.0
    excursion[80:90] = 8.0
    assert segments(excursion) == [(20, 44), (80, 89)]


def test_shoulder_on_a_slope_is_part_of_the_slope() -> None:
    slope = np.clip(60.0 - 0.7 * np.arange(N), 6.0, None) + gauss(0, 900.0)
    assert len(segments(slope)) == 1


def test_small_hump_two_beams_beside_a_strong_one_stays_its_own() -> None:
    assert len(segments(gauss(60, 300.0) + gauss(60 + 2.5 * BEAM, 12.0))) == 2
