"""Traces, profiles and full-wave scans for the tests of `features`."""

from __future__ import annotations

import csv
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from seamtell.features.contracts import RecipeLimits, SeamTrace
from seamtell.features.descriptors.profile import IndicationView, Profile

SCANS = Path(__file__).parents[1] / "data" / "fullwave" / "scans"
BEAM_MM = 9.4
Array = NDArray[np.float64]


@dataclass(frozen=True)
class Scan:
    """One full-wave scan: trace values and complex values of both channels."""

    position_mm: Array
    specular: Array
    scatter: Array
    specular_complex: NDArray[np.complex128]
    scatter_complex: NDArray[np.complex128]


def _read_scan(name: str) -> Scan:
    with (SCANS / f"{name}.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    columns = {key: np.array([float(row[key]) for row in rows]) for key in rows[0]}
    return Scan(
        position_mm=columns["position_mm"],
        specular=columns["specular"],
        scatter=columns["scatter"],
        specular_complex=columns["specular_re"] + 1j * columns["specular_im"],
        scatter_complex=columns["scatter_re"] + 1j * columns["scatter_im"],
    )


@pytest.fixture(scope="session")
def scan() -> Callable[[str], Scan]:
    return _read_scan


@pytest.fixture(scope="session")
def make_trace() -> Callable[..., SeamTrace]:
    """Build a trace from channel arrays; float64 is kept, so that invariances can be told exactly."""

    def build(
        specular: Array,
        scatter: Array,
        pitch_mm: float = 0.5,
        *,
        start_mm: float = 0.0,
        seam_id: str = "S-1",
        recipe: str = "R1",
        further: Mapping[str, Array] | None = None,
        thickness_mm: tuple[float, float] = (1.5, 1.3),
    ) -> SeamTrace:
        return SeamTrace(
            seam_id=seam_id,
            welded_at=datetime(2026, 3, 2, 6, 0, tzinfo=UTC),
            line="L1",
            recipe=recipe,
            start_mm=start_mm,
            pitch_mm=pitch_mm,
            amplitudes_pct={"specular": specular, "scatter": scatter, **(further or {})},
            thickness_a_mm=thickness_mm[0],
            thickness_b_mm=thickness_mm[1],
        )

    return build


@pytest.fixture(scope="session")
def limits() -> RecipeLimits:
    """Typical limits, without dead zones."""
    return RecipeLimits("R1", {"specular": 20.0, "scatter": 6.0}, 0.0, 0.0, BEAM_MM)


@pytest.fixture(scope="session")
def no_limits() -> RecipeLimits:
    """Beam width only, so that nothing depends on the absolute level."""
    return RecipeLimits("R1", {"specular": 1e9, "scatter": 1e9}, 0.0, 0.0, BEAM_MM)


@pytest.fixture(scope="session")
def hump() -> Callable[..., Array]:
    """A Gaussian of given full width at half maximum."""

    def build(x_mm: Array, at_mm: float, height_pct: float, fwhm_mm: float = BEAM_MM) -> Array:
        return height_pct * np.exp(-4.0 * np.log(2.0) * ((x_mm - at_mm) / fwhm_mm) ** 2)

    return build


@pytest.fixture(scope="session")
def make_profile() -> Callable[..., Profile]:
    """A profile of given values whose extent is the whole window unless said otherwise."""

    def build(
        values: Array,
        pitch_mm: float = 0.25,
        *,
        extent: tuple[int, int] | None = None,
        noise_pct: float = 1e-3,
        level_pct: float = 7.0,
        limit_pct: float = 20.0,
    ) -> Profile:
        first, last = extent or (0, len(values) - 1)
        return Profile(
            position_mm=pitch_mm * np.arange(len(values), dtype=np.float64),
            excursion_pct=np.asarray(values, dtype=np.float64),
            first=first,
            last=last,
            noise_pct=noise_pct,
            level_pct=level_pct,
            specular_level_pct=7.0,
            highest_pct=float(np.max(values)) + level_pct,
            limit_pct=limit_pct,
            beam_mm=BEAM_MM,
        )

    return build


@pytest.fixture(scope="session")
def make_view(make_profile: Callable[..., Profile]) -> Callable[..., IndicationView]:
    """A view of two profiles on one grid, far from the ends and from neighbours."""

    def build(specular: Array, scatter: Array, pitch_mm: float = 0.25, **changes: object) -> IndicationView:
        given: dict[str, object] = {
            "specular": make_profile(specular, pitch_mm),
            "scatter": make_profile(scatter, pitch_mm, level_pct=0.5, limit_pct=6.0),
            "end_distance_mm": 150.0,
            "neighbour_gaps_mm": (),
            "thickness_a_mm": 1.5,
            "thickness_b_mm": 1.3,
        }
        return IndicationView(**{**given, **changes})  # type: ignore[arg-type]

    return build
