"""Strength against size: highest value of either channel by kind of flaw, full-wave cases beside it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from seamtell.data_synth.flaws import FlawGeometry, Hole, Mismatch, Slot
from seamtell.data_synth.head import Head, Joint
from seamtell.data_synth.line_scan import BURST_FREQUENCIES, line_scan
from seamtell.data_synth.yardstick_cases import FullWaveCase, read_cases
from seamtell.features.contracts import Channel, Flaw, Side
from seamtell.pipeline.report.label_places import spread_apart
from seamtell.pipeline.report.palette import flaw_mark, words
from theory_pages.drawing import INK, SMALL, channel_line, dress, title

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["draw_strengths"]

_JOINT = Joint(1.5, 1.3)
_BESIDE_MM = 14.0
_STEP_MM = 0.5
_RANGE_PCT = {Channel.SPECULAR: (4.0, 130.0), Channel.SCATTER: (0.3, 60.0)}


@dataclass(frozen=True)
class _Curve:
    """One line of a panel: `flaw` makes the flaw of a size; `cases` are full-wave names and sizes on it."""

    name: str
    sizes: tuple[float, ...]
    flaw: Callable[[float], FlawGeometry]
    cases: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True)
class _Panel:
    label: Flaw
    axis: str
    curves: tuple[_Curve, ...]
    ticks: tuple[float, ...]


def _sizes(low: float, high: float, n: int) -> tuple[float, ...]:
    return tuple(float(size) for size in np.geomspace(low, high, n))


def _slot(share: float, width: float, side: Side) -> Callable[[float], FlawGeometry]:
    return lambda length: Slot.even(0.0, length, share * _JOINT.mean_mm, width, side)


def _mismatch(shift: float) -> Callable[[float], FlawGeometry]:
    return lambda length: Mismatch(0.0, shift, length, 4.0)


def _panels() -> tuple[_Panel, ...]:
    holes, notches = _sizes(0.2, 2.0, 19), _sizes(2.0, 10.0, 13)
    unfused, offset = _sizes(5.0, 80.0, 15), _sizes(10.0, 200.0, 12)
    top, bottom = Side.TOP, Side.BOTTOM
    half = 0.5 * _JOINT.mean_mm
    return (
        _Panel(
            Flaw.PINHOLE,
            "diameter (mm)",
            (
                _Curve(
                    "through", holes, lambda d: Hole(0.0, d), (("pinhole_D0.5", 0.54), ("pinhole_D1.2", 1.2))
                ),
                _Curve(
                    "half deep", holes, lambda d: Hole(0.0, d, top, half), (("pore_blind_D0.8_top0.7", 0.84),)
                ),
            ),
            (0.2, 0.5, 1.0, 2.0),
        ),
        _Panel(
            Flaw.EDGE_NOTCH,
            "length (mm)",
            (
                _Curve("25 % top", notches, _slot(0.25, 0.3, top), (("notch_top_L4_d25", 4.0),)),
                _Curve("25 % bottom", notches, _slot(0.25, 0.3, bottom), (("notch_bottom_L9_d25", 9.0),)),
                _Curve("45 % top", notches, _slot(0.45, 0.3, top), (("notch_top_L5_d45", 5.0),)),
                _Curve("65 % bottom", notches, _slot(0.65, 0.3, bottom), (("notch_bottom_L2.5_d65", 2.5),)),
            ),
            (2.0, 5.0, 10.0),
        ),
        _Panel(
            Flaw.LACK_OF_FUSION,
            "length (mm)",
            (
                _Curve("30 %", unfused, _slot(0.3, 0.1, bottom)),
                _Curve(
                    "60 %", unfused, _slot(0.6, 0.1, bottom), (("lof_L8_d60", 8.0), ("lof_L34_d60", 34.0))
                ),
                _Curve("100 %", unfused, _slot(1.0, 0.1, bottom), (("lof_L14_d100", 14.0),)),
            ),
            (5.0, 10.0, 20.0, 40.0, 80.0),
        ),
        _Panel(
            Flaw.MISMATCH,
            "length (mm)",
            (
                _Curve("0.15 mm", offset, _mismatch(0.15), (("mismatch_0.15_L25", 25.0),)),
                _Curve("0.3 mm", offset, _mismatch(0.3), (("mismatch_0.3_L25", 25.0),)),
                _Curve("−0.3 mm", offset, _mismatch(-0.3)),
            ),
            (10.0, 50.0, 200.0),
        ),
    )


def draw_strengths(cases: Path) -> tuple[Figure, str]:
    """Draw the figure; `cases` is the folder of the full-wave scans. Also returns what it shows."""
    from matplotlib.figure import Figure

    known = {case.name: case for case in read_cases(cases).cases}
    figure = Figure(figsize=(11.0, 5.6))
    axes = figure.subplots(2, 4, sharey="row")
    worst = 0.0
    for column, panel in enumerate(_panels()):
        for curve in panel.curves:
            worst = max(worst, _draw_curve(axes[:, column], curve, panel, known))
        for row, channel in enumerate(Channel):
            _name_curves(axes[row, column], panel, channel)
            _label(axes[row, column], panel, channel, first=column == 0)
    figure.tight_layout(w_pad=1.6)
    finding = (
        "Highest value of either channel against the size of a flaw, 1.5/1.3 mm, by the model (lines) and by "
        f"an independent full-wave simulation (marks); the two differ by {worst:.1f} dB at most at the marks."
    )
    return figure, finding


@cache
def _highest(flaw: FlawGeometry) -> dict[Channel, float]:
    first, last = flaw.extent_mm
    positions = np.arange(first - _BESIDE_MM, last + _BESIDE_MM, _STEP_MM)
    scan = line_scan((flaw,), _JOINT, Head(), positions, frequencies=BURST_FREQUENCIES)
    return {channel: float(scan.amplitude_pct(channel).max()) for channel in Channel}


def _draw_curve(axes: Sequence[Axes], curve: _Curve, panel: _Panel, known: dict[str, FullWaveCase]) -> float:
    """Draw a curve on both channels; the largest distance to its full-wave cases in dB."""
    found = [_highest(curve.flaw(size)) for size in curve.sizes]
    worst = 0.0
    for one, channel in zip(axes, Channel, strict=True):
        one.plot(curve.sizes, [values[channel] for values in found], **channel_line(channel.value))
        mark = flaw_mark(panel.label.value)
        for name, size in curve.cases:
            theirs = float(known[name].amplitude_pct[channel].max())
            ours = _highest(curve.flaw(size))[channel]
            worst = max(worst, abs(20 * float(np.log10(ours / theirs))))
            one.plot(
                [size],
                [theirs],
                mark.marker,
                color=mark.colour,
                markeredgecolor=INK,
                markersize=5.5,
                zorder=4,
            )
    return worst


def _name_curves(axes: Axes, panel: _Panel, channel: Channel) -> None:
    """Write each curve's name at its end, names apart from one another."""
    ends = [_highest(curve.flaw(curve.sizes[-1]))[channel] for curve in panel.curves]
    low, high = np.log(_RANGE_PCT[channel])
    places = spread_apart(np.log(ends).tolist(), 0.05 * (high - low), low, high)
    for curve, place in zip(panel.curves, np.exp(places), strict=True):
        at = (1.01, float(place))
        axes.annotate(
            curve.name,
            at,
            xycoords=("axes fraction", "data"),
            size=7.0,
            color=INK,
            va="center",
            annotation_clip=False,
        )


def _label(axes: Axes, panel: _Panel, channel: Channel, *, first: bool) -> None:
    axes.set_xscale("log")
    axes.set_yscale("log")
    axes.set_ylim(_RANGE_PCT[channel])
    axes.set_xlim(panel.curves[0].sizes[0] * 0.93, panel.curves[0].sizes[-1])
    axes.set_xticks(panel.ticks, [f"{tick:g}" for tick in panel.ticks])
    axes.minorticks_off()
    ticks = (5, 10, 20, 50, 100) if channel is Channel.SPECULAR else (0.5, 1, 2, 5, 10, 20, 50)
    axes.set_yticks(ticks, [f"{tick:g}" for tick in ticks])
    if channel is Channel.SPECULAR:
        title(axes, f"{flaw_mark(panel.label.value).glyph} {words(panel.label.value)}")
        scan = line_scan((), _JOINT, Head(), np.zeros(1), frequencies=BURST_FREQUENCIES)
        sound = float(scan.amplitude_pct(channel)[0])
        axes.axhline(sound, color=channel_line(channel.value)["color"], linewidth=0.8, linestyle=":")
        if first:
            axes.text(panel.ticks[0], sound * 0.94, "sound seam", size=7.0, color=INK, va="top")
    else:
        axes.set_xlabel(panel.axis)
    if first:
        axes.set_ylabel(f"{channel.value}, highest (% of a free edge)")
    dress(axes)
    axes.tick_params(labelleft=first, labelsize=SMALL)
