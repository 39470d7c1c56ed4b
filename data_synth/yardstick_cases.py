"""Reading the seams of an independent full-wave simulation: dimensions and line scans.

A folder holds ``cases.json`` and ``scans/NAME.csv``. Dimensions may be any; a feature of a
kind that the model does not know leaves its case out, by name.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from seamtell.data_synth.arrays import Complex, Floats
from seamtell.data_synth.flaws import FlawGeometry, Hole, Mismatch, Slot
from seamtell.data_synth.head import Joint
from seamtell.features.contracts import Channel, Side
from seamtell.features.errors import SeamtellError

__all__ = ["CaseFolder", "FullWaveCase", "Roughness", "read_cases"]


@dataclass(frozen=True)
class Roughness:
    """A joint of random height: what is stated of it; the heights themselves are not."""

    rms_mm: float
    correlation_mm: float


@dataclass(frozen=True, eq=False)
class FullWaveCase:
    """One simulated seam: its flaws and what the simulation recorded, % FSH.

    Parameters
    ----------
    centre_pct : mapping of channel to complex array, or None
        Complex value at the centre frequency, where the scan states it.
    """

    name: str
    joint: Joint
    flaws: tuple[FlawGeometry, ...]
    roughness: Roughness | None
    positions_mm: Floats
    amplitude_pct: Mapping[Channel, Floats]
    centre_pct: Mapping[Channel, Complex] | None

    @property
    def middle_mm(self) -> float:
        """Middle of all flaws; 0 without any."""
        if not self.flaws:
            return 0.0
        first = min(flaw.extent_mm[0] for flaw in self.flaws)
        return (first + max(flaw.extent_mm[1] for flaw in self.flaws)) / 2


@dataclass(frozen=True, eq=False)
class CaseFolder:
    """All cases of a folder, and why some are left out."""

    cases: tuple[FullWaveCase, ...]
    left_out: Mapping[str, str]


def read_cases(folder: Path) -> CaseFolder:
    """Read ``cases.json`` and ``scans/``.

    Raises
    ------
    SeamtellError
        A file is missing or is not what is expected; the message names it.
    """
    source = folder / "cases.json"
    try:
        listed = json.loads(source.read_text(encoding="utf-8"))["cases"]
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise SeamtellError(f"{source}: no list of cases in it ({error})") from error
    cases, left_out = [], {}
    for entry in listed:
        unknown = sorted({str(f.get("type")) for f in entry["features"]} - _KNOWN)
        if unknown:
            left_out[entry["name"]] = f"unknown feature {', '.join(unknown)}"
            continue
        try:
            cases.append(_read_case(entry, folder / "scans" / f"{entry['name']}.csv"))
        except KeyError as missing:
            left_out[entry["name"]] = f"{missing} is not stated"
    return CaseFolder(tuple(cases), left_out)


_KNOWN = {"hole", "slot", "mismatch", "rough"}


def _read_case(entry: dict[str, Any], scan: Path) -> FullWaveCase:
    try:
        table = np.genfromtxt(scan, delimiter=",", names=True)
        amplitudes = {channel: table[channel.value] for channel in Channel}
        positions = table["position_mm"]
    except (OSError, ValueError) as error:
        raise SeamtellError(f"{scan}: not a line scan of both channels ({error})") from error
    sheets, features = entry["sheets"], entry["features"]
    rough = [Roughness(f["rms_mm"], f["corr_mm"]) for f in features if f["type"] == "rough"]
    return FullWaveCase(
        entry["name"],
        Joint(sheets["A_mm"], sheets["B_mm"], sheets["joint_ramp_mm"]),
        tuple(_flaw(feature) for feature in features if feature["type"] != "rough"),
        rough[0] if rough else None,
        positions,
        amplitudes,
        _centre(table),
    )


def _centre(table: Any) -> dict[Channel, Complex] | None:
    if not {f"{channel.value}_im" for channel in Channel} <= set(table.dtype.names):
        return None
    return {channel: table[f"{channel.value}_re"] + 1j * table[f"{channel.value}_im"] for channel in Channel}


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
