"""Fits to the full-wave scans of ``tests/data/fullwave`` (origin and limits: ORIGIN.md there).

The scans hold no reflection coefficients and share no assumption with the theory of the table.
"""

from __future__ import annotations

import csv
import zlib
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from seamtell.data_synth.head import Head
from seamtell.data_synth.simulated_flaw import EchoCause, Size
from seamtell.features.contracts import Channel, Flaw, RecipeLimits, SeamTrace
from seamtell.features.describer import analyse_seam
from seamtell.pipeline.explain import Explanation, explain_indication
from seamtell.pipeline.physics.reference_fit import FittedHead

SCANS = Path(__file__).parents[2] / "data" / "fullwave" / "scans"
LIMITS = RecipeLimits("R1", {"specular": 20.0, "scatter": 6.0}, 0.0, 0.0, 9.4)
# Truth from cases.json; small holes by their effective diameter there.
PINHOLE, NOTCH = EchoCause.PINHOLE, EchoCause.EDGE_NOTCH
FUSION, MISMATCH = EchoCause.LACK_OF_FUSION, EchoCause.MISMATCH
TRUTH = {
    "pinhole_D0.5": (PINHOLE, {Size.DIAMETER: 0.54}),
    "pinhole_D1.2": (PINHOLE, {Size.DIAMETER: 1.2}),
    "pore_blind_D0.8_top0.7": (PINHOLE, {Size.DIAMETER: 0.84, Size.DEPTH: 0.7}),
    "two_pinholes_D0.8_6mm": (PINHOLE, {Size.GAP: 6.0}),
    "notch_top_L4_d25": (NOTCH, {Size.LENGTH: 4.0, Size.DEPTH: 0.35}),
    "notch_top_L5_d45": (NOTCH, {Size.LENGTH: 5.0, Size.DEPTH: 0.63}),
    "notch_bottom_L2.5_d65": (NOTCH, {Size.LENGTH: 2.5, Size.DEPTH: 0.91}),
    "notch_bottom_L9_d25": (NOTCH, {Size.LENGTH: 9.0, Size.DEPTH: 0.35}),
    "lof_L8_d60": (FUSION, {Size.LENGTH: 8.0, Size.DEPTH: 0.84}),
    "lof_L14_d100": (FUSION, {Size.LENGTH: 14.0, Size.DEPTH: 1.4}),
    "lof_L34_d60": (FUSION, {Size.LENGTH: 34.0, Size.DEPTH: 0.84}),
    "lof_L22_taper40-90": (FUSION, {Size.LENGTH: 22.0, Size.DEPTH: 1.26}),
    "mismatch_0.15_L25": (MISMATCH, {Size.LENGTH: 25.0, Size.LOWERED: 0.15}),
    "mismatch_0.3_L25": (MISMATCH, {Size.LENGTH: 25.0, Size.LOWERED: 0.30}),
}


def noisy_seam(name: str) -> SeamTrace:
    """The scan in the middle of 240 mm of sound seam, with noise."""
    with (SCANS / f"{name}.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    scan = {
        key: np.array([float(row[key]) for row in rows]) for key in ("position_mm", "specular", "scatter")
    }
    at = np.arange(0.0, 240.25, 0.5)
    rng = np.random.default_rng(zlib.crc32(name.encode()))
    random = rng.normal(0.0, 0.15, (2, len(at)))
    specular = np.interp(at - 120, scan["position_mm"], scan["specular"]) + rng.normal(0.0, 0.3, len(at))
    scatter = np.abs(np.interp(at - 120, scan["position_mm"], scan["scatter"]) + random[0] + 1j * random[1])
    return SeamTrace(
        name,
        datetime(2026, 3, 2, tzinfo=UTC),
        "L1",
        "R1",
        0.0,
        0.5,
        {"specular": specular, "scatter": scatter},
        thickness_a_mm=1.5,
        thickness_b_mm=1.3,
    )


@pytest.fixture(scope="module")
def explained(library) -> dict[str, Explanation]:
    fitted = FittedHead(Head(), dict.fromkeys(Channel, 0.0), fitted=False)
    return {
        name: explain_indication(analyse_seam(noisy_seam(name), LIMITS), 0, library, fitted) for name in TRUTH
    }


@pytest.mark.parametrize("name", TRUTH)
def test_the_true_class_is_among_the_explanations(explained, name):
    cause, _ = TRUTH[name]
    assert cause in [fit.cause for fit in explained[name].possible]


@pytest.mark.parametrize("name", TRUTH)
def test_the_true_size_lies_in_the_range_of_its_class(explained, name):
    cause, sizes = TRUTH[name]
    fit = next(fit for fit in explained[name].fit.fits if fit.cause is cause)
    for size, truth in sizes.items():
        low, high = fit.ranges[size]
        # The edge of a cell of the design is no sharper than this: 24.97 mm is not "less than 25".
        assert 0.99 * low <= truth <= 1.01 * high, (size, low, high)


@pytest.mark.parametrize("name", TRUTH)
def test_the_place_is_right_to_a_millimetre(explained, name):
    cause, _ = TRUTH[name]
    fit = next(fit for fit in explained[name].fit.fits if fit.cause is cause)
    assert fit.centre_mm == pytest.approx(120.0, abs=1.0)


@pytest.mark.parametrize("name", TRUTH)
def test_none_is_called_unexplained_or_a_change_of_gain(explained, name):
    assert not explained[name].novel
    assert not explained[name].no_flaw_needed


def test_holes_long_slots_and_shifts_are_told_apart(explained):
    told = ("pinhole_D1.2", "two_pinholes_D0.8_6mm", "lof_L14_d100", "lof_L34_d60", "lof_L22_taper40-90")
    for name in told:
        assert explained[name].fit.fits[0].cause is TRUTH[name][0], name


def test_no_flawed_scan_is_explained_by_sound_metal_alone(explained):
    for name, found in explained.items():
        assert any(fit.cause.label is not Flaw.SOUND for fit in found.possible), name
