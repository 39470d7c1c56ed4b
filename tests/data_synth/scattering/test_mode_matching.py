import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seamtell.data_synth.scattering.mode_matching import Chain, Section, scatter, scatter_once
from seamtell.features.errors import SeamtellError

K = 1.16716  # SH0 at 0.6 MHz in steel


def crack(height_mm: float, ligament_mm: float) -> Chain:
    sheet = Section.of(0, height_mm)
    return Chain((sheet, Section.of(0, ligament_mm, 0.0), sheet))


@st.composite
def chains(draw: st.DrawFn) -> Chain:
    """Chains of one or two ligaments, cracks and long pieces among them, that touch at every joint."""
    height = st.floats(0.4, 4.0)
    sections = [Section.of(0, draw(height))]
    for _ in range(draw(st.integers(1, 4))):
        top = draw(height)
        length = draw(st.sampled_from([0.0, 0.05, 0.3, 1.0, 2.7, 20.0]))
        cut = draw(st.one_of(st.none(), st.tuples(st.floats(0.1, 0.45), st.floats(0.5, 0.9))))
        # a full section beside each cut one keeps the chain connected
        if cut:
            sections.append(Section(((0.0, cut[0] * top), (cut[1] * top, top)), length))
        sections.append(Section.of(draw(st.floats(-0.2, 0.1)), top, draw(st.floats(0.05, 3.0))))
    sections.append(Section.of(0, draw(height)))
    return Chain(tuple(sections), draw(st.floats(-5, 5)))


@settings(max_examples=60, deadline=None)
@given(chain=chains(), k=st.floats(0.05, 4.0))
def test_energy_is_conserved_and_both_directions_agree_over_random_chains(chain: Chain, k: float) -> None:
    found = scatter_once(chain, k, 8)
    assert found.energy_error < 1e-9
    assert np.abs(found.matrix - found.matrix.T).max() < 1e-10


@pytest.mark.parametrize(("before", "after"), [(1.5, 1.3), (1.0, 2.0), (0.8, 0.2)])
def test_abrupt_step_reflects_the_ratio_of_heights_at_low_frequency(before: float, after: float) -> None:
    # Impedance step of a line: (h1 - h2) / (h1 + h2), and 2 h1 / (h1 + h2) goes on.
    found = scatter(Chain((Section.of(0, before), Section.of(0, after))), 1e-4)
    assert found.reflection == pytest.approx((before - after) / (before + after), abs=1e-4)
    assert found.transmission == pytest.approx(2 * before / (before + after), abs=1e-4)


def test_abrupt_step_meets_the_independent_prototype() -> None:
    found = scatter(Chain((Section.of(0, 1.5), Section.of(0, 1.3))), K)
    assert found.reflection == pytest.approx(0.07173 - 0.01674j, abs=1e-4)


def test_unchanged_plate_sends_everything_on_with_its_phase() -> None:
    plate = Section.of(0, 1.4)
    found = scatter(Chain((plate, Section.of(0, 1.4, 37.0), plate), -5.0), K)
    assert abs(found.reflection) < 1e-9
    # both sides are referred to y = 0, so an unchanged plate turns nothing
    assert found.transmission == pytest.approx(1.0, abs=1e-9)


@pytest.mark.parametrize("share", [0.1, 0.3, 0.5, 0.8])
def test_edge_crack_meets_the_capacitive_window_of_the_waveguide_handbooks(share: float) -> None:
    # N. Marcuvitz, Waveguide Handbook (1951), from memory: asymmetric capacitive window of no thickness,
    # B = (8 h / wavelength) ln csc(pi d / 2h), exact as h / wavelength goes to zero.
    height, k = 1.4, 0.01
    susceptance = 8 * height * k / (2 * np.pi) * -np.log(np.sin(np.pi * share / 2))
    expected = susceptance / 2 / np.sqrt(1 + (susceptance / 2) ** 2)
    assert abs(scatter(crack(height, share * height), k, tolerance=1e-6).reflection) == pytest.approx(
        expected, rel=2e-4
    )


def test_thin_slot_becomes_the_crack() -> None:
    sheet = Section.of(0, 1.4)
    gaps = []
    for width in (0.02, 0.005):
        thin = Chain((sheet, Section.of(0, 0.6, width), sheet), -width / 2)
        gaps.append(abs(scatter_once(thin, K, 30).reflection - scatter(crack(1.4, 0.6), K).reflection))
    assert gaps[0] < 0.03
    assert gaps[1] < 0.4 * gaps[0]


@pytest.mark.parametrize("ligament_mm", [0.1, 0.7, 1.3])
def test_answer_converges_quickly_with_the_trial_functions(ligament_mm: float) -> None:
    values = [scatter_once(crack(1.4, ligament_mm), K, n).reflection for n in (6, 12, 24)]
    assert abs(values[1] - values[2]) < 2e-5
    assert abs(values[0] - values[2]) < 1e-4


def test_half_wavelength_bar_of_another_height_is_transparent() -> None:
    # Textbook half-wave window: for kL = pi the two steps cancel, but for their small fringing phases.
    length = np.pi / 0.05
    bar = Chain((Section.of(0, 1.0), Section.of(0, 0.7, length), Section.of(0, 1.0)))
    quarter = Chain((Section.of(0, 1.0), Section.of(0, 0.7, length / 2), Section.of(0, 1.0)))
    assert abs(scatter(bar, 0.05).reflection) < 0.01
    # quarter-wave: (z^2 - 1) / (z^2 + 1) of the height ratio
    assert abs(scatter(quarter, 0.05).reflection) == pytest.approx((1 - 0.49) / (1 + 0.49), abs=1e-3)


@pytest.mark.parametrize("turns", [0.999999, 1.0, 1.000001, 2.0, 7.0])
def test_lengths_of_whole_half_waves_do_no_harm(turns: float) -> None:
    plate = Section.of(0, 1.5)
    found = scatter_once(Chain((plate, Section.of(0, 1.0, turns * np.pi / K), plate)), K, 10)
    assert np.isfinite(found.matrix).all()
    assert found.energy_error < 1e-10


@pytest.mark.parametrize(("height_mm", "modes"), [(2.6, 1), (2.8, 2), (5.3, 2), (5.5, 3)])
def test_modes_appear_at_the_cut_offs_of_a_plate(height_mm: float, modes: int) -> None:
    # J. L. Rose, Ultrasonic Guided Waves in Solid Media: SH_n cuts on at f = n c_T / 2h; 3.23 mm/us, 0.6 MHz.
    assert modes == 1 + int(0.6 * 2 * height_mm / 3.23)
    found = scatter_once(Chain((Section.of(0, 1.0), Section.of(0, height_mm))), K, 8)
    assert sum(not port.first_end for port in found.ports) == modes


def test_mode_exactly_at_its_cut_off_gives_a_finite_lossless_answer() -> None:
    found = scatter_once(Chain((Section.of(0, 1.0), Section.of(0, np.pi / K))), K, 10)
    assert np.isfinite(found.matrix).all()
    assert found.energy_error < 1e-9


def test_energy_in_displacements_holds_for_a_step() -> None:
    found = scatter(Chain((Section.of(0, 1.5), Section.of(0, 0.7, 0.3), Section.of(0, 1.3))), K)
    total = abs(found.reflection) ** 2 + 1.3 / 1.5 * abs(found.transmission) ** 2
    assert total == pytest.approx(1, abs=1e-12)


def test_two_equal_ligaments_reflect_as_half_the_sheet_does() -> None:
    # A symmetric embedded crack has a mirror plane, which is a free face: half the sheet, edge crack.
    sheet, half = Section.of(0, 2.0), Section.of(0, 1.0)
    inside = Chain((sheet, Section(((0, 0.4), (1.6, 2.0)), 0.2), sheet))
    edge = Chain((half, Section.of(0, 0.4, 0.2), half))
    assert scatter(inside, K).reflection == pytest.approx(scatter(edge, K).reflection, abs=1e-4)


def test_plate_turned_upside_down_answers_the_same() -> None:
    one = Chain((Section.of(0, 1.5), Section.of(0.6, 1.4, 0.3), Section.of(0.1, 1.3)))
    other = Chain((Section.of(-1.5, 0), Section.of(-1.4, -0.6, 0.3), Section.of(-1.3, -0.1)))
    assert scatter(one, K).reflection == pytest.approx(scatter(other, K).reflection, abs=1e-12)


def test_fine_detail_that_does_not_converge_is_an_error_with_the_achieved_change() -> None:
    with pytest.raises(
        SeamtellError, match=r"no convergence .* last change \d\.\de-\d\d, expected less than 1.0e-14"
    ):
        scatter(crack(1.4, 0.5), K, tolerance=1e-14)


@pytest.mark.parametrize(
    ("sections", "message"),
    [
        ((Section.of(0, 1), Section.of(1.2, 2)), "do not touch, expected a common ligament above zero"),
        ((Section.of(0, 1),), "chain of 1 section, expected two or more"),
        ((Section.of(0, 1), Section.of(0, 2), Section.of(0, 1)), "section without end inside a chain"),
    ],
)
def test_chain_that_is_none_is_refused(sections: tuple[Section, ...], message: str) -> None:
    with pytest.raises(SeamtellError, match=message):
        Chain(sections)


@pytest.mark.parametrize("intervals", [((1.0, 1.0),), ((1.0, 0.5),), ((0, 1), (0.5, 2)), (), ((0, np.nan),)])
def test_section_without_a_ligament_is_refused(intervals: tuple[tuple[float, float], ...]) -> None:
    with pytest.raises(SeamtellError, match="a ligament above zero"):
        Section(intervals)


@pytest.mark.parametrize("k", [0.0, -1.0, np.nan, np.inf])
def test_wavenumber_must_be_above_zero(k: float) -> None:
    with pytest.raises(SeamtellError, match=r"wavenumber of .* expected above zero"):
        scatter(crack(1.4, 0.5), k)


def test_crack_through_the_plate_is_refused() -> None:
    cut = Chain((Section.of(0, 1), Section.of(0, 0.4, 0.0), Section.of(0.6, 1, 0.0), Section.of(0, 1)))
    with pytest.raises(SeamtellError, match="crack through all material"):
        scatter(cut, K)
