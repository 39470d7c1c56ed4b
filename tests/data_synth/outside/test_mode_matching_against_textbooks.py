"""Mode matching as a black box, against conservation laws, handbook formulas and the classical method."""

from __future__ import annotations

from dataclasses import replace
from math import log, pi, sin, sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seamtell.data_synth.scattering.mode_matching import Chain, Scattering, Section, scatter, scatter_once

from .classical_mode_matching import slot_reflection, step_reflection

SPEED_MM_PER_US = 3.23
SHEET = Section.of(0, 1.4)


def wavenumber(frequency_mhz: float) -> float:
    return 2 * pi * frequency_mhz / SPEED_MM_PER_US


@st.composite
def inner_sections(draw: st.DrawFn) -> Section:
    """A stretch of one or two ligaments, all of which fill 0.65 to 0.85 mm, so that the chain holds."""
    low, high = draw(st.floats(-0.5, 0.6)), draw(st.floats(0.9, 2.0))
    length = draw(st.one_of(st.just(0.0), st.floats(0.03, 1.5)))
    if draw(st.booleans()):
        return Section(((low, 0.85), (0.87, high + 0.2)), length)
    return Section.of(low, high, length)


@st.composite
def chains(draw: st.DrawFn) -> Chain:
    ends = [Section.of(draw(st.floats(-0.3, 0.4)), draw(st.floats(1.1, 2.0))) for _ in range(2)]
    inner = draw(st.lists(inner_sections(), max_size=3))
    return Chain((ends[0], *inner, ends[1]), draw(st.floats(-1, 1)))


def powers(found: Scattering, k: float) -> np.ndarray:
    """Energy flux of unit displacement in each port, worked out here from order and height alone."""
    order = np.array([port.order for port in found.ports])
    height = np.array([port.height_mm for port in found.ports])
    return np.sqrt(k**2 - (order * pi / height) ** 2) * height / np.where(order, 2, 1)


def amplitudes(found: Scattering) -> np.ndarray:
    n = len(found.ports)
    return np.array([[found.amplitude(to, source) for source in range(n)] for to in range(n)])


@settings(max_examples=40, deadline=None, derandomize=True)
@given(chains(), st.floats(0.1, 2.5))
def test_energy_sent_out_is_energy_come_in_for_any_chain(chain: Chain, frequency_mhz: float) -> None:
    # Conservation of energy, below and above the cut-offs.
    found = scatter_once(chain, wavenumber(frequency_mhz), 8)
    power = powers(found, wavenumber(frequency_mhz))
    sent = np.abs(amplitudes(found)) ** 2
    assert np.allclose(power @ sent, power, rtol=1e-6)


@settings(max_examples=40, deadline=None, derandomize=True)
@given(chains(), st.floats(0.1, 2.5))
def test_source_and_receiver_can_be_exchanged_for_any_chain(chain: Chain, frequency_mhz: float) -> None:
    # Reciprocity: flux-weighted amplitudes are the same both ways.
    found = scatter_once(chain, wavenumber(frequency_mhz), 8)
    weighted = powers(found, wavenumber(frequency_mhz))[:, None] * amplitudes(found)
    assert np.abs(weighted - weighted.T).max() <= 1e-8 * np.abs(weighted).max()


@settings(max_examples=20, deadline=None, derandomize=True)
@given(chains(), st.floats(0.1, 1.0))
def test_chain_seen_from_behind_lets_as_much_through(chain: Chain, frequency_mhz: float) -> None:
    # Reciprocity again, by solving the mirrored chain: h_B T_AB = h_A T_BA, phases counted from y = 0.
    k = wavenumber(frequency_mhz)
    mirrored = replace(chain, sections=chain.sections[::-1], start_mm=-chain.end_mm)
    there, back = scatter_once(chain, k, 10), scatter_once(mirrored, k, 10)
    heights = [
        end.intervals_mm[0][1] - end.intervals_mm[0][0] for end in (chain.sections[0], chain.sections[-1])
    ]
    assert heights[1] * there.transmission == pytest.approx(heights[0] * back.transmission, abs=1e-8)


@pytest.mark.parametrize("order", [1, 2, 3])
def test_modes_appear_at_their_cut_off(order: int) -> None:
    # Textbook (Auld, Acoustic Fields and Waves in Solids): SHn starts at n c_T / 2h, 2h the thickness.
    cut_off_mhz = order * SPEED_MM_PER_US / (2 * 1.5)
    chain = Chain((Section.of(0, 1.5), Section.of(0, 1.2)))
    counts = [
        sum(port.first_end for port in scatter_once(chain, wavenumber(share * cut_off_mhz), 8).ports)
        for share in (0.999, 1.001)
    ]
    assert counts == [order, order + 1]


@pytest.mark.parametrize(("before_mm", "after_mm"), [(1.5, 1.3), (1.3, 1.5), (2.0, 0.5)])
def test_step_in_a_long_wave_reflects_like_a_step_in_a_string(before_mm: float, after_mm: float) -> None:
    # Textbook: (h1 - h2) / (h1 + h2); the correction shrinks with the frequency.
    exact = (before_mm - after_mm) / (before_mm + after_mm)
    chain = Chain((Section.of(0, before_mm), Section.of(0, after_mm)))
    assert scatter(chain, 1e-4).reflection == pytest.approx(exact, abs=1e-4)


@pytest.mark.parametrize("frequency_mhz", [0.6, 1.4, 2.6])
def test_step_meets_classical_mode_matching(frequency_mhz: float) -> None:
    k = wavenumber(frequency_mhz)
    found = scatter(Chain((Section.of(0, 1.5), Section.of(0, 1.0))), k, tolerance=1e-5)
    assert abs(found.reflection - step_reflection(1.5, 1.0, k, 240)) < 1e-5


@pytest.mark.parametrize("frequency_mhz", [0.6, 1.4, 2.6])
def test_slot_meets_classical_mode_matching(frequency_mhz: float) -> None:
    k = wavenumber(frequency_mhz)
    found = scatter(Chain((SHEET, Section.of(0.7, 1.4, 0.3), SHEET), -0.15), k, tolerance=1e-5)
    assert abs(found.reflection - slot_reflection(1.4, 0.7, 0.3, k, 240)) < 1e-5


def window_reflection(susceptance: float) -> float:
    return susceptance / 2 / sqrt(1 + (susceptance / 2) ** 2)


@pytest.mark.parametrize("height_over_wave", [0.02, 0.05])
@pytest.mark.parametrize("ligament_mm", [0.3, 0.7, 1.1])
def test_cracks_meet_the_capacitive_windows_of_the_handbook(
    ligament_mm: float, height_over_wave: float
) -> None:
    # Marcuvitz, Waveguide Handbook, leading terms (from memory): one-sided window
    # B = (8h/lambda) ln csc(pi d / 2h), centred window half of that; next term ~ (h/lambda)^2.
    height, d = 1.4, ligament_mm
    k = 2 * pi * height_over_wave / height
    one_sided = 8 * height_over_wave * log(1 / sin(pi * d / (2 * height)))
    for ligament, susceptance in (
        (Section.of(height - d, height, 0.0), one_sided),
        (Section.of((height - d) / 2, (height + d) / 2, 0.0), one_sided / 2),
    ):
        found = abs(scatter(Chain((SHEET, ligament, SHEET)), k, tolerance=1e-5).reflection)
        assert found == pytest.approx(window_reflection(susceptance), rel=2 * height_over_wave**2)


def test_buried_crack_meets_the_strip_of_the_handbook() -> None:
    # The mid-plane of the sheet is a mirror: half the height with a one-sided window (from memory).
    height, d, height_over_wave = 1.4, 0.35, 0.05
    k = 2 * pi * height_over_wave / height
    middle = Section(((0, d), (height - d, height)), 0.0)
    susceptance = 4 * height_over_wave * log(1 / sin(pi * d / height))
    found = abs(scatter(Chain((SHEET, middle, SHEET)), k, tolerance=1e-5).reflection)
    assert found == pytest.approx(window_reflection(susceptance), rel=2 * height_over_wave**2)


def test_shallow_slot_is_loudest_at_a_quarter_wave_and_silent_at_half_a_wave() -> None:
    # Textbook plate: (1 - n^2)/(1 + n^2) at a quarter wave, n the ratio of heights; nothing at half a wave.
    height, share, k = 0.05, 0.8, wavenumber(0.6)
    sheet = Section.of(0, height)
    lengths = pi / k * np.arange(0.1, 1.2, 0.05)
    found = [
        abs(
            scatter(
                Chain((sheet, Section.of((1 - share) * height, height, length), sheet)), k, tolerance=1e-5
            ).reflection
        )
        for length in lengths
    ]
    assert lengths[np.argmax(found)] == pytest.approx(pi / 2 / k, rel=0.06)
    assert max(found) == pytest.approx((1 - share**2) / (1 + share**2), rel=1e-3)
    assert found[18] == pytest.approx(0.0, abs=0.005)


def test_crack_is_the_limit_of_ever_narrower_slots() -> None:
    # Convergence: what a narrow slot adds to the crack goes away with its width.
    k = wavenumber(0.6)
    crack = scatter(Chain((SHEET, Section.of(0.7, 1.4, 0.0), SHEET)), k).reflection
    gaps = [
        abs(scatter(Chain((SHEET, Section.of(0.7, 1.4, w), SHEET), -w / 2), k).reflection - crack)
        for w in (0.02, 0.01, 0.005)
    ]
    assert gaps[0] > 1.5 * gaps[1] > 2.2 * gaps[2]
    assert gaps[2] < 0.02
