"""Borders where two flaws are physically one: both channels of either, and how far apart they are."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from seamtell.data_synth.flaws import FlawGeometry, Hole, Mismatch, Slot
from seamtell.data_synth.head import Head, Joint
from seamtell.data_synth.line_scan import BURST_FREQUENCIES, LineScan, line_scan
from seamtell.features.contracts import Channel, Side
from theory_pages.drawing import BLUE, INK, dress, title

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["draw_borders"]

_JOINT = Joint(1.5, 1.3)
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class _Border:
    """A flaw, and the flaw of another class whose one free size is set so that specular peaks alike."""

    title: str
    first: FlawGeometry
    first_name: str
    other: Callable[[float], FlawGeometry]
    other_name: str
    tried: tuple[float, float]


def _borders() -> tuple[_Border, ...]:
    mean = _JOINT.mean_mm
    return (
        _Border(
            "edge notch or lack of fusion",
            Slot.even(0.0, 6.0, 0.6 * mean, 0.25, Side.BOTTOM),
            "notch, 6 mm, 60 %, 0.25 mm open",
            lambda share: Slot.even(0.0, 6.0, share * mean, 0.08, Side.BOTTOM),
            "lack of fusion, 6 mm, {100x:.0f} %, 0.08 mm open",
            (0.3, 0.9),
        ),
        _Border(
            "edge notch or pinhole",
            Slot.even(0.0, 2.0, 0.6 * mean, 0.3, Side.TOP),
            "notch, 2 mm, 60 %",
            lambda diameter: Hole(0.0, diameter),
            "hole, {x:.2f} mm",
            (0.5, 1.6),
        ),
        _Border(
            "mismatch or even, shallow lack of fusion",
            Mismatch(0.0, 0.15, 30.0, 4.0),
            "mismatch, 30 mm, 0.15 mm",
            lambda share: Slot.even(0.0, 30.0, share * mean, 0.1, Side.BOTTOM),
            "lack of fusion, 30 mm, {100x:.0f} %",
            (0.08, 0.4),
        ),
    )


def draw_borders() -> tuple[Figure, str]:
    """Draw the figure and say what it shows."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(11.0, 5.4))
    axes = figure.subplots(2, 3)
    said = []
    for column, border in enumerate(_borders()):
        size = _alike(border)
        other = border.other(size)
        reach = max(abs(end) for flaw in (border.first, other) for end in flaw.extent_mm) + 15.0
        positions = np.arange(-reach, reach + 0.25, 0.5)
        scans = [_scan(flaw, positions) for flaw in (border.first, other)]
        other_name = border.other_name.replace("{100x:.0f}", f"{100 * size:.0f}").format(x=size)
        for row, channel in enumerate(Channel):
            one = axes[row, column]
            first, second = (scan.amplitude_pct(channel) for scan in scans)
            apart = _apart_db(first, second)
            one.plot(positions, first, color=INK, linewidth=1.3)
            one.plot(positions, second, color=BLUE, linewidth=1.5, linestyle=(0, (4, 2)))
            one.set_ylim(0.0, 1.32 * max(first.max(), second.max()))
            one.text(
                0.01,
                0.99,
                f"peaks {apart[0]:+.1f} dB, at most {apart[1]:.1f} dB apart\nabove half height",
                transform=one.transAxes,
                size=7.5,
                color=INK,
                va="top",
            )
            if row == 0:
                title(one, f"{border.title}\n\n")
                for height, mark, name, colour in (
                    (1.07, "—", border.first_name, INK),
                    (1.015, "- -", other_name, BLUE),
                ):
                    one.text(0.0, height, f"{mark} {name}", transform=one.transAxes, size=7.5, color=colour)
            else:
                one.set_xlabel("position (mm)")
            if column == 0:
                one.set_ylabel(f"{channel.value} (% of a free edge)")
            dress(one)
            said.append(f"{border.title}, {channel.value}: peaks {apart[0]:+.1f} dB")
    figure.tight_layout()
    return figure, "Two flaws of different classes that look alike. " + "; ".join(said) + "."


def _scan(flaw: FlawGeometry, positions_mm: Floats) -> LineScan:
    return line_scan((flaw,), _JOINT, Head(), positions_mm, frequencies=BURST_FREQUENCIES)


def _specular_peak(flaw: FlawGeometry) -> float:
    return float(_scan(flaw, np.zeros(1)).amplitude_pct(Channel.SPECULAR)[0])


def _alike(border: _Border) -> float:
    """Size of the other flaw whose specular peak is nearest to that of the first."""
    from scipy.optimize import minimize_scalar

    aim = _specular_peak(border.first)

    def miss(size: float) -> float:
        return float(np.log(_specular_peak(border.other(float(size))) / aim) ** 2)

    found = minimize_scalar(miss, bounds=border.tried, method="bounded", options={"xatol": 1e-3})
    return float(found.x)


def _apart_db(first: Floats, second: Floats) -> tuple[float, float]:
    """Second peak over the first, and the largest distance where either is above half its peak, in dB."""
    peaks = 20 * np.log10(second.max() / first.max())
    high = (first > first.max() / 2) | (second > second.max() / 2)
    return float(np.round(peaks, 1)) + 0.0, float(np.abs(20 * np.log10(second[high] / first[high])).max())
