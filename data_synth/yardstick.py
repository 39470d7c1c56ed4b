"""The closed forms against sixteen seams of an independent full-wave simulation.

The simulation (three-dimensional elasticity, no reflection coefficients in it) stands in
for an experiment. This module reads its cases, scans the same flaws with the model and
says how far apart the two are; ``data_synth/README.md`` shows the table.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from math import log10
from pathlib import Path
from typing import Any

import numpy as np

from seamtell.data_synth.arrays import Floats
from seamtell.data_synth.flaws import FlawGeometry, Hole, Mismatch, Slot
from seamtell.data_synth.head import Head, Joint
from seamtell.data_synth.line_scan import line_scan
from seamtell.features.contracts import Channel, Side

__all__ = ["CaseErrors", "FullWaveCase", "compare", "half_width_mm", "markdown_table", "read_cases"]


@dataclass(frozen=True, eq=False)
class FullWaveCase:
    """One simulated seam: its flaws and what the simulation recorded, % FSH."""

    name: str
    joint: Joint
    flaws: tuple[FlawGeometry, ...]
    positions_mm: Floats
    amplitude_pct: dict[Channel, Floats]


@dataclass(frozen=True)
class CaseErrors:
    """Model against simulation, for one channel of one case.

    Parameters
    ----------
    peak_pct : float
        Highest value of the simulation.
    peak_error_db : float
        Highest value of the model over it.
    width_mm : float
        Outermost distance between half heights above the seam's level, simulation.
    width_error_pct : float
        Model against it; NaN where there is no flaw to have a width.
    """

    name: str
    channel: Channel
    peak_pct: float
    peak_error_db: float
    width_mm: float
    width_error_pct: float


def read_cases(folder: Path) -> tuple[FullWaveCase, ...]:
    """Read ``cases.json`` and ``scans/``; rough joints are left out, their heights are not stated."""
    document = json.loads((folder / "cases.json").read_text(encoding="utf-8"))
    return tuple(
        _read_case(case, folder / "scans" / f"{case['name']}.csv")
        for case in document["cases"]
        if all(feature["type"] != "rough" for feature in case["features"])
    )


def _read_case(case: dict[str, Any], scan: Path) -> FullWaveCase:
    table = np.genfromtxt(scan, delimiter=",", names=True)
    sheets = case["sheets"]
    return FullWaveCase(
        case["name"],
        Joint(sheets["A_mm"], sheets["B_mm"], sheets["joint_ramp_mm"]),
        tuple(_flaw(feature) for feature in case["features"]),
        table["position_mm"],
        {channel: table[channel.value] for channel in Channel},
    )


def _flaw(feature: dict[str, Any]) -> FlawGeometry:
    x = feature["x_mm"]
    if feature["type"] == "hole":
        # On the simulation's grid a small hole is a little larger than drawn.
        diameter = feature.get("effective_diameter_mm", feature["diameter_mm"])
        return Hole(x, diameter, Side(feature.get("face", Side.THROUGH)), feature.get("depth_mm", 0.0))
    if feature["type"] == "slot":
        points = tuple((float(offset), float(depth)) for offset, depth in feature["depth_points_mm"])
        return Slot(x, points, feature["width_mm"], Side(feature["face"]))
    return Mismatch(x, feature["shift_mm"], feature["length_mm"], feature["ramp_mm"])


def compare(case: FullWaveCase, head: Head | None = None) -> tuple[CaseErrors, ...]:
    """Scan a case with the model and compare both channels."""
    scan = line_scan(case.flaws, case.joint, head or Head(), case.positions_mm)
    found = []
    for channel in Channel:
        theirs, ours = case.amplitude_pct[channel], scan.amplitude_pct(channel)
        flawed = bool(case.flaws)
        width = half_width_mm(case.positions_mm, theirs) if flawed else float("nan")
        our_width = half_width_mm(case.positions_mm, ours) if flawed else float("nan")
        peak, our_peak = float(theirs.max()), float(ours.max())
        error = 20 * log10(our_peak / peak) if our_peak > 0.01 else float("nan")
        found.append(CaseErrors(case.name, channel, peak, error, width, 100 * (our_width / width - 1)))
    return tuple(found)


def half_width_mm(positions_mm: Floats, amplitude_pct: Floats) -> float:
    """Distance between the outermost samples above half of the greatest rise over the ends' level.

    Examples
    --------
    >>> x = np.linspace(-10, 10, 2001)
    >>> abs(half_width_mm(x, np.exp(-(x**2) / 2)) - 2.3548) < 0.02  # FWHM of a Gaussian
    True
    """
    level = np.median(np.concatenate([amplitude_pct[:4], amplitude_pct[-4:]]))
    rise = amplitude_pct - level
    wide = positions_mm[rise >= rise.max() / 2]
    return float(wide[-1] - wide[0])


def markdown_table(errors: Iterable[CaseErrors]) -> str:
    """Write the errors as a table."""
    lines = [
        "| case | channel | full-wave peak, % FSH | model, dB | full-wave width, mm | model, % |",
        "| --- | --- | ---: | ---: | ---: | ---: |",
    ]
    for e in errors:
        lines.append(
            f"| {e.name} | {e.channel.value} | {e.peak_pct:.2f} | {_signed(e.peak_error_db, 2)} | "
            f"{_plain(e.width_mm)} | {_signed(e.width_error_pct, 0)} |"
        )
    return "\n".join(lines)


def _signed(value: float, digits: int) -> str:
    return "" if np.isnan(value) else f"{value + 0.0:+.{digits}f}"


def _plain(value: float) -> str:
    return "" if np.isnan(value) else f"{value:.1f}"
