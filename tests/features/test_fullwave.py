"""Indications on the full-wave scans of ``tests/data/fullwave`` (origin and limits: ORIGIN.md there)."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from seamtell.features.contracts import RecipeLimits, SeamTrace
from seamtell.features.describer import analyse_seam, describe_seam
from seamtell.features.descriptors.registry import names
from seamtell.features.indications import find_indications

# Name: half the length of the flaw in mm, from cases.json.
FLAWED = {
    "lof_L14_d100": 7.0,
    "lof_L22_taper40-90": 11.0,
    "lof_L34_d60": 17.0,
    "lof_L8_d60": 4.0,
    "mismatch_0.15_L25": 12.5,
    "mismatch_0.3_L25": 12.5,
    "notch_bottom_L2.5_d65": 1.25,
    "notch_bottom_L9_d25": 4.5,
    "notch_top_L4_d25": 2.0,
    "notch_top_L5_d45": 2.5,
    "pinhole_D0.5": 0.25,
    "pinhole_D1.2": 0.6,
    "pore_blind_D0.8_top0.7": 0.4,
    "two_pinholes_D0.8_6mm": 3.4,
}
MIDDLE_MM = 120.0
SEAM_MM = 240.0
Array = np.ndarray


def continued(scan: Any, seed: int | None, pitch_mm: float = 0.5) -> tuple[Array, Array]:
    """A scan in the middle of 240 mm of seam, the rest sound, with noise unless the seed is None."""
    x = np.arange(0.0, SEAM_MM + 1e-9, pitch_mm)
    specular = np.interp(x - MIDDLE_MM, scan.position_mm, scan.specular)
    scatter = np.interp(x - MIDDLE_MM, scan.position_mm, scan.scatter)
    if seed is None:
        return specular, scatter
    rng = np.random.default_rng(seed)
    random = rng.normal(0.0, 0.15, (2, len(x)))
    return specular + rng.normal(0.0, 0.3, len(x)), np.abs(scatter + random[0] + 1j * random[1])


@pytest.mark.parametrize("seed", [None, 1, 2, 3])
@pytest.mark.parametrize("name", FLAWED)
def test_flawed_scan_gives_exactly_one_indication_at_its_place(
    scan: Callable[[str], Any],
    make_trace: Callable[..., SeamTrace],
    limits: RecipeLimits,
    name: str,
    seed: int | None,
) -> None:
    (found,) = find_indications(make_trace(*continued(scan(name), seed)), limits)
    half_mm = FLAWED[name]
    assert found.channels == ("specular", "scatter")
    assert found.start_mm < MIDDLE_MM - half_mm
    assert found.end_mm > MIDDLE_MM + half_mm
    assert found.end_mm - found.start_mm < 2.0 * (half_mm + 1.5 * limits.beam_width_mm)
    assert abs(found.peak_mm - MIDDLE_MM) <= half_mm + 1.5


@pytest.mark.parametrize("seed", [None, 1, 2, 3, 4, 5])
def test_sound_scan_gives_none(
    scan: Callable[[str], Any], make_trace: Callable[..., SeamTrace], limits: RecipeLimits, seed: int | None
) -> None:
    assert find_indications(make_trace(*continued(scan("sound"), seed)), limits) == ()


def test_highest_hump_of_a_rough_joint_is_found_and_stays_below_the_limits(
    scan: Callable[[str], Any], make_trace: Callable[..., SeamTrace], limits: RecipeLimits
) -> None:
    rough = scan("rough_joint")
    found = find_indications(make_trace(*continued(rough, 1)), limits)
    highest_mm = MIDDLE_MM + rough.position_mm[np.argmax(rough.specular)]
    assert any(i.start_mm < highest_mm < i.end_mm for i in found)
    assert not any(i.exceeds_limit for i in found)


@pytest.mark.parametrize("pitch_mm", [0.1, 0.25, 1.0, 2.0])
@pytest.mark.parametrize("name", ["pinhole_D0.5", "lof_L34_d60", "mismatch_0.15_L25"])
def test_sample_pitch_does_not_matter(
    scan: Callable[[str], Any],
    make_trace: Callable[..., SeamTrace],
    limits: RecipeLimits,
    name: str,
    pitch_mm: float,
) -> None:
    trace = make_trace(*continued(scan(name), 7, pitch_mm), pitch_mm)
    assert len(find_indications(trace, limits)) == 1


def test_channels_relate_as_physics_says(
    scan: Callable[[str], Any], make_trace: Callable[..., SeamTrace], limits: RecipeLimits
) -> None:
    def figures(name: str) -> dict[str, float]:
        analysis = analyse_seam(make_trace(*continued(scan(name), None)), limits)
        return dict(zip(names(), describe_seam(analysis)[0], strict=True))

    hole, notch, long = figures("pinhole_D0.5"), figures("notch_top_L5_d45"), figures("lof_L34_d60")
    assert hole["height_ratio_db"] < 0.0 < notch["height_ratio_db"] < long["height_ratio_db"]
    assert hole["scatter_humps"] == 1.0
    assert long["scatter_humps"] == 2.0
    assert long["hump_separation"] == pytest.approx(1.0, abs=0.15)
    assert hole["scatter_ends_over_middle_db"] < 0.0 < long["scatter_ends_over_middle_db"]
    # Full width at half maximum of a box of 34 mm under a beam of 9.4 mm is the box's length.
    assert long["specular_fwhm_mm"] == pytest.approx(34.0, rel=0.05)


def test_holes_of_every_size_have_one_quadrature_ratio_and_slots_a_higher_one(
    scan: Callable[[str], Any], make_trace: Callable[..., SeamTrace], limits: RecipeLimits
) -> None:
    def figures(name: str) -> tuple[float, float]:
        analysis = analyse_seam(make_trace(*continued(scan(name), None)), limits)
        found = dict(zip(names(), describe_seam(analysis)[0], strict=True))
        return found["quadrature_ratio_db"], found["height_ratio_db"]

    small, large, pore = (figures(n) for n in ("pinhole_D0.5", "pinhole_D1.2", "pore_blind_D0.8_top0.7"))
    for ratio, _ in (small, large, pore):
        assert ratio == pytest.approx(0.0, abs=1.5)
    # The plain ratio of both heights tells the size of the hole instead.
    assert large[1] - small[1] > 3.0
    for slot in ("notch_bottom_L2.5_d65", "notch_top_L4_d25", "notch_top_L5_d45", "lof_L8_d60"):
        assert figures(slot)[0] > 2.5


@pytest.mark.parametrize("seed", range(6))
def test_two_holes_and_two_notches_on_128_mm_are_four_indications_each_seen_on_scatter(
    scan: Callable[[str], Any], make_trace: Callable[..., SeamTrace], limits: RecipeLimits, seed: int
) -> None:
    # Echoes add as complex numbers to a seam of 7.5 % specular and 0.4 % scatter (common practice).
    x = np.arange(0.0, 128.0 + 1e-9, 0.25)
    sound = scan("sound")
    base = sound.specular_complex[0]
    specular = np.full(len(x), 7.5 * base / abs(base))
    scatter = np.full(len(x), 0.4 + 0.0j)
    places = {"notch_top_L5_d45": (18.0, 110.0), "pinhole_D0.5": (48.0, 80.0)}
    for name, at in places.items():
        flaw = scan(name)
        for at_mm in at:
            away = x - at_mm
            specular += np.interp(away, flaw.position_mm, flaw.specular_complex - base, 0.0, 0.0)
            echo = flaw.scatter_complex - sound.scatter_complex[0]
            scatter += np.interp(away, flaw.position_mm, echo, 0.0, 0.0)
    rng = np.random.default_rng(seed)
    scatter += rng.normal(0.0, 0.15, len(x)) + 1j * rng.normal(0.0, 0.15, len(x))
    trace = make_trace(np.abs(specular) + rng.normal(0.0, 0.3, len(x)), np.abs(scatter), 0.25)
    found = find_indications(trace, limits)
    assert [i.peak_mm for i in found] == pytest.approx([18.0, 48.0, 80.0, 110.0], abs=3.0)
    assert all("scatter" in i.channels for i in found)
