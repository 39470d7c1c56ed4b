"""An estimate with its interval as a mark: a whisker, a dot, a tick for the bound asked for."""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from seamtell.pipeline.evaluation.result import Estimate

__all__ = ["interval_mark"]


def interval_mark(estimate: Estimate, low: float = 0.0, high: float = 1.0, bound: float | None = None) -> str:
    """Draw the interval on the scale from `low` to `high`, as wide as its cell.

    Coordinates are percentages, so the mark stretches with the page while its lines
    and dot keep their size. What is not known is a hatched bar, never a zero.

    Parameters
    ----------
    estimate : Estimate
    low, high : float
        Ends of the scale.
    bound : float, optional
        What a criterion asks for; drawn as a vertical tick.
    """

    def place(value: float) -> str:
        share = (value - low) / (high - low) if high > low else 0.0
        return f"{100 * min(max(share, 0.0), 1.0):.2f}%"

    start = f'<svg class="interval" width="100%" height="16" role="img" aria-label="{escape(str(estimate))}">'
    if estimate.estimate is None:
        return f'{start}<rect class="hatch" x="0" y="4" width="100%" height="8"/></svg>'
    parts = [start]
    for tick in (0, 25, 50, 75, 100):
        parts.append(f'<line class="scale" x1="{tick}%" x2="{tick}%" y1="5" y2="11"/>')
    parts.append('<line class="scale" x1="0" x2="100%" y1="8" y2="8"/>')
    if estimate.low is not None and estimate.high is not None:
        left, right = place(estimate.low), place(estimate.high)
        parts.append(f'<line class="whisker" x1="{left}" x2="{right}" y1="8" y2="8"/>')
        parts.extend(f'<line class="whisker" x1="{end}" x2="{end}" y1="4" y2="12"/>' for end in (left, right))
    if bound is not None:
        parts.append(f'<line class="bound" x1="{place(bound)}" x2="{place(bound)}" y1="0" y2="16"/>')
    parts.append(f'<circle class="dot" cx="{place(estimate.estimate)}" cy="8" r="3.5"/></svg>')
    return "".join(parts)
