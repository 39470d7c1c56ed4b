from __future__ import annotations

import numpy as np
import pytest

from seamtell.data_synth.echo_library import GRID_MM, EchoLibrary
from seamtell.data_synth.echo_search import EchoWindow, Levels, excess_pct, search
from seamtell.data_synth.expected_flaws import GainBump
from seamtell.data_synth.flaws import Hole, Mismatch, Slot
from seamtell.features.contracts import Side


def slow_misfit(library: EchoLibrary, index: int, window: EchoWindow, middle: int) -> float:
    """The definition, sample by sample, in plain loops."""
    levels = window.levels
    specular, scatter = library.echo(index)
    half = len(specular) // 2
    bump = library.designed[index].flaw.bump
    total, counted = 0.0, 0
    for i in range(len(window.positions_mm)):
        j = i - middle + half
        inside = 0 <= j < len(specular)
        echoes = (complex(specular[j]), complex(scatter[j])) if inside else (0j, 0j)
        offset = np.array([(i - middle) * GRID_MM])
        factor = float(bump.factor(offset)[0]) if bump is not None and inside else 1.0
        loud = levels.specular_gain * abs(levels.sound_pct + echoes[0])
        model = (
            loud - levels.specular_gain * abs(levels.sound_pct) + levels.specular_idle_pct * (factor - 1),
            float(np.hypot(levels.scatter_gain * abs(echoes[1]), levels.scatter_idle_pct)) * factor
            - levels.scatter_idle_pct,
        )
        for c in range(2):
            if np.isfinite(window.sigma_pct[c, i]):
                total += ((window.excess_pct[c, i] - model[c]) / window.sigma_pct[c, i]) ** 2
                counted += 1
    return (total / counted) ** 0.5


@pytest.mark.parametrize("reverse", [False, True])
def test_search_by_transform_equals_plain_loops(library, recorded, reverse):
    window = recorded((Slot.even(0.0, 9.0, 0.7, 0.1, Side.BOTTOM),), 9.0, reverse=reverse)
    # Some samples do not count, as beside a neighbour.
    window.sigma_pct[:, :7] = np.inf
    found = search(library, window)
    rng = np.random.default_rng(2)
    low, high = window.centres_mm
    places = np.flatnonzero((window.positions_mm >= low) & (window.positions_mm <= high))
    for index in rng.choice(len(library.designed), 5, replace=False):
        ahead = min(slow_misfit(library, int(index), window, int(k)) for k in places)
        turned, m = window.mirrored(), len(window.positions_mm)
        back = min(slow_misfit(library, int(index), turned, m - 1 - int(k)) for k in places)
        assert found.misfit[index] == pytest.approx(min(ahead, back), rel=1e-5)
        assert bool(found.mirrored[index]) == (back < ahead)


def test_the_place_that_is_found_has_the_misfit_that_is_stated(library, recorded):
    window = recorded((Hole(2.0, 0.9),), 6.0)
    found = search(library, window)
    index = int(np.argmin(found.misfit))
    way = window.mirrored() if found.mirrored[index] else window
    ends = window.positions_mm[0] + window.positions_mm[-1]
    at = ends - found.centre_mm[index] if found.mirrored[index] else found.centre_mm[index]
    excess = excess_pct(*library.echo(index), window.levels, library.designed[index].flaw.bump)
    assert way.misfit(excess, float(at)) == pytest.approx(found.misfit[index], rel=1e-5)


def test_a_flaw_of_the_table_is_found_where_it_lies(library, recorded):
    flaw = Mismatch(3.0, 0.26, 20.0, 4.0)
    found = search(library, recorded((flaw,), 26.0))
    assert abs(found.centre_mm[np.argmin(found.misfit)] - 103.0) <= 1.0


def test_a_long_window_of_thousands_of_flaws_takes_less_than_a_second(library, recorded):
    import time

    window = recorded((Slot.even(0.0, 34.0, 0.84, 0.1, Side.BOTTOM),), 34.0)
    began = time.process_time()
    search(library, window)
    assert time.process_time() - began < 1.0


def test_without_an_echo_nothing_is_added_to_the_baselines():
    levels = Levels(1.2, 1.2, 6.8 + 0.3j, 8.2, 0.4)
    specular, scatter = excess_pct(np.zeros(5, complex), np.zeros(5, complex), levels)
    assert np.abs(specular).max() == 0
    assert np.abs(scatter).max() == 0


def test_a_gain_change_multiplies_both_baselines_alike():
    levels = Levels(1.0, 1.0, 7 + 0j, 8.0, 0.5)
    quiet = np.zeros(41, complex)
    specular, scatter = excess_pct(quiet, quiet, levels, GainBump(0.0, 20.0, 6.0206))
    # 6.0206 dB is a factor of two (20 lg 2).
    assert specular[20] == pytest.approx(8.0, rel=1e-4)
    assert scatter[20] == pytest.approx(0.5, rel=1e-4)


def test_scatter_adds_to_its_idle_level_as_powers_do():
    levels = Levels(1.0, 2.0, 7 + 0j, 7.0, 3.0)
    _, scatter = excess_pct(np.zeros(1, complex), np.array([2.0 + 0j]), levels)
    # 3, 4, 5: the right triangle.
    assert scatter[0] == pytest.approx(2.0)
