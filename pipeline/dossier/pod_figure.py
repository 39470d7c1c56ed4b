"""Probability of detection over flaw size: the flaws that were hit and missed, curve and lower bound."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import TYPE_CHECKING

from seamtell.pipeline.dossier.figures import SMALL_PT, class_marker, finished, new_axes
from seamtell.pipeline.report.palette import INK_LIGHT_PAGE, RULE_GREY, UNKNOWN_GREY

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from seamtell.pipeline.acceptance.record import Detection, DetectionPoint

__all__ = ["draw_detection"]

_HIT, _MISS = 1.09, -0.09
_BINS = 60
"""Marks nearer than this share of the axis are stacked rather than drawn on one another."""


def draw_detection(
    found: Detection, top_mm: float, name: str, finding: str, others: Sequence[Detection] = ()
) -> str:
    """Draw one class and one way to detect, as an ``<svg>`` element.

    Parameters
    ----------
    found : Detection
        Where it refuses a curve, only the flaws are drawn, on hatched ground.
    top_mm : float
        End of the size axis; the same for all panels of a class.
    others : sequence of Detection
        Curves of other links through the same flaws, drawn dotted.
    """
    figure, axes = new_axes(3.5, top_in=0.32)
    axes.set_xlim(0.0, top_mm)
    axes.set_ylim(-0.24, 1.26)
    axes.set_yticks([0.0, 0.25, 0.5, 0.75, 0.9, 1.0], ["0", "0.25", "0.5", "0.75", "0.9", "1"])
    axes.spines["left"].set_bounds(0.0, 1.0)
    axes.set_xlabel(f"{found.size.removesuffix('_mm')} of the flaw (mm)")
    _draw_points(axes, found.points, found.label, top_mm)
    if found.sizes_mm:
        for other in others:
            axes.plot(other.sizes_mm, other.pod, color=INK_LIGHT_PAGE, linewidth=1.1, linestyle=(0, (1, 1.5)))
        _draw_curve(axes, found)
    else:
        axes.axhspan(
            0.0, 1.0, facecolor="none", edgecolor=UNKNOWN_GREY, hatch="////", linewidth=0.0, alpha=0.6
        )
    return finished(figure, name, finding)


def _draw_curve(axes: Axes, found: Detection) -> None:
    axes.axhline(0.9, color=RULE_GREY, linewidth=0.7)
    axes.plot(found.sizes_mm, found.pod, color=INK_LIGHT_PAGE, linewidth=1.6)
    if found.pod_low:
        axes.plot(found.sizes_mm, found.pod_low, color=INK_LIGHT_PAGE, linewidth=1.2, linestyle=(0, (4, 2)))
    names = []
    for text, size, dash in (("a90", found.a90_mm, (0, ())), ("a90/95", found.a90_95_mm, (0, (4, 2)))):
        if size is None:
            names.append(f"{text} not given")
            continue
        names.append(f"{text} {size:.2f} mm")
        axes.plot([size, size], [0.0, 0.9], color=INK_LIGHT_PAGE, linewidth=0.8, linestyle=dash)
    axes.set_title(", ".join(names), size=SMALL_PT + 0.5, color=INK_LIGHT_PAGE, loc="left", pad=4)


def _draw_points(axes: Axes, points: Sequence[DetectionPoint], label: str, top_mm: float) -> None:
    style = class_marker(label)
    taken: Counter[tuple[bool, int]] = Counter()
    for point in sorted(points, key=lambda one: (one.size_mm, one.section_id)):
        place = (point.hit, int(_BINS * point.size_mm / top_mm))
        # A heap of equal marks would read as one: each further one is set a little outwards.
        shift = 0.035 * min(taken[place], 4)
        taken[place] += 1
        if point.hit:
            axes.plot(
                [point.size_mm], [_HIT + shift], linestyle="none", markersize=4.5, clip_on=False, **style
            )
        else:
            hollow = {**style, "markerfacecolor": "none", "markeredgewidth": 1.1}
            axes.plot(
                [point.size_mm], [_MISS - shift], linestyle="none", markersize=4.5, clip_on=False, **hollow
            )
