"""Stated probability against what came true."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from seamtell.pipeline.report.svg_canvas import Canvas

if TYPE_CHECKING:
    from seamtell.pipeline.evaluation.result import ReliabilityBin

__all__ = ["draw_reliability", "reliability_finding"]

_SIDE, _LEFT, _TOP = 300.0, 44.0, 12.0


def reliability_finding(bins: Sequence[ReliabilityBin]) -> str:
    """What the plot shows, in one sentence."""
    known = [b for b in bins if b.right.low is not None and b.right.high is not None]
    if not known:
        return "No section has a stated probability, so nothing can be said about reliability."
    over = sum(1 for b in known if b.mean_probability > float(b.right.high or 0.0))
    under = sum(1 for b in known if b.mean_probability < float(b.right.low or 0.0))
    cases = sum(b.right.n for b in known)
    if over == under == 0:
        return f"In all {len(known)} bins the stated probability lies within the interval seen (n = {cases})."
    return (
        f"Of {len(known)} bins (n = {cases}), {over} promise more than came true "
        f"and {under} promise less, beyond their intervals."
    )


def draw_reliability(bins: Sequence[ReliabilityBin]) -> str:
    """Draw the bins with their intervals beside the line of perfect agreement, as ``<svg>``."""
    canvas = Canvas(_LEFT + _SIDE + 16, _TOP + _SIDE + 44, reliability_finding(bins))

    def x(value: float) -> float:
        return _LEFT + value * _SIDE

    def y(value: float) -> float:
        return _TOP + (1 - value) * _SIDE

    canvas.line(x(0), y(0), x(1), y(0), "axis")
    canvas.line(x(0), y(0), x(0), y(1), "axis")
    canvas.line(x(0), y(0), x(1), y(1), "limit")
    for tick in (0.0, 0.25, 0.5, 0.75, 1.0):
        canvas.text(x(tick), y(0) + 16, f"{tick:g}", "tick", "middle")
        canvas.text(x(0) - 6, y(tick) + 4, f"{tick:g}", "tick", "end")
    for found in bins:
        if found.right.estimate is None or found.right.low is None or found.right.high is None:
            continue
        at = x(found.mean_probability)
        canvas.line(at, y(found.right.low), at, y(found.right.high), "whisker")
        canvas.circle(at, y(found.right.estimate), 3.5, "dot")
        beside = "end" if found.mean_probability > 0.85 else "start"
        shift = -7.0 if beside == "end" else 7.0
        # Clear of the axis, where nothing came true.
        level = min(y(found.right.estimate) + 4, y(0) - 6)
        canvas.text(at + shift, level, f"n = {found.right.n}", "tick", beside)
    canvas.text(x(0.5), y(0) + 36, "stated probability of the label", "tick", "middle")
    canvas.text(x(0) + 6, y(1) + 4, "share that was right", "tick")
    return canvas.svg()
