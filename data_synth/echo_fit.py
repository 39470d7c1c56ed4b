"""Best simulated flaw of every cause for one indication, and what else fits almost as well.

A fit is no measurement: different flaws leave the same trace, and a fit names them all
rather than the best alone. Two candidates count as equally good when their misfits differ
by less than chance would make them differ: chi² of the better one plus the 95 % point of
chi² with three degrees of freedom (length, depth, width), where chi² is the squared misfit
times the number of independent figures. When even the best fits worse than its sigmas say,
the allowance grows with it, as is usual where the errors' size is only estimated.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from math import exp, log, sqrt

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from seamtell.data_synth.arrays import Floats
from seamtell.data_synth.echo_library import GRID_MM, EchoLibrary, echo_on_grid
from seamtell.data_synth.echo_search import EchoWindow, Found, excess_pct, search
from seamtell.data_synth.simulated_flaw import EchoCause, SimulatedFlaw, Size
from seamtell.features.errors import SeamtellError

__all__ = ["CHI2_ALLOWANCE", "CauseFit", "IndicationFit", "fit_indication", "novelty_p", "worst_allowed"]

CHI2_ALLOWANCE = 7.815
"""95 % point of chi² with three degrees of freedom (published tables)."""

_ALIKE = 120
_REFINE_WITHIN = 2.0
"""Causes whose table flaws come this close to the allowance are refined; asking the theory costs time."""
_STARTS = 2
_STEPS = 4
_FREEDOM = 1.3
_NUDGE = 2e-2
_SLACK = 1e-6
"""The start must lie strictly inside its bounds."""
_VARIED: dict[EchoCause, tuple[str, ...]] = {
    EchoCause.PINHOLE: ("diameter_mm", "second_mm", "gap_mm"),
    EchoCause.EDGE_NOTCH: ("length_mm", "depth_mm"),
    EchoCause.LACK_OF_FUSION: ("length_mm", "depth_mm"),
    EchoCause.MISMATCH: ("length_mm", "shift_mm", "ramp_mm"),
    EchoCause.DROPLET: ("height_mm",),
    EchoCause.GAIN_CHANGE: ("length_mm", "gain_db"),
}
_SIZE_OF: dict[str, Size] = {
    "diameter_mm": Size.DIAMETER,
    "second_mm": Size.DIAMETER,
    "gap_mm": Size.GAP,
    "length_mm": Size.LENGTH,
    "depth_mm": Size.DEPTH,
    "height_mm": Size.HEIGHT,
    "gain_db": Size.GAIN,
}


@dataclass(frozen=True, eq=False)
class CauseFit:
    """The best simulated flaw of one cause.

    Parameters
    ----------
    cause : EchoCause
    flaw : SimulatedFlaw
    centre_mm : float
        Along the seam.
    mirrored : bool
        Fits as seen by a head that travels against the axis of the theory.
    misfit : float
        Root mean square of the residuals over their sigmas; about 1 for a perfect model.
    ranges : mapping of Size to (low, high)
        Sizes of the table's flaws of this cause that fit almost as well.
    excess_pct : float array of shape (2, m)
        What the flaw adds to the baselines in the window.
    """

    cause: EchoCause
    flaw: SimulatedFlaw
    centre_mm: float
    mirrored: bool
    misfit: float
    ranges: dict[Size, tuple[float, float]]
    excess_pct: Floats


@dataclass(frozen=True, eq=False)
class IndicationFit:
    """All causes, best first.

    Parameters
    ----------
    fits : tuple of CauseFit
    allowed_misfit : float
        Up to here a cause fits almost as well as the best.
    table_misfit : float
        Best misfit of the table alone, without refinement.
    p_value : float
        Share of simulated flaws outside the table that fit as badly; small: nothing simulated fits.
    """

    fits: tuple[CauseFit, ...]
    allowed_misfit: float
    table_misfit: float
    p_value: float

    @property
    def possible(self) -> tuple[CauseFit, ...]:
        """The causes that fit almost as well as the best, best included."""
        return tuple(fit for fit in self.fits if fit.misfit <= self.allowed_misfit)


def worst_allowed(best_misfit: float, n_independent: float) -> float:
    """Up to which misfit a candidate fits almost as well as the best.

    Examples
    --------
    >>> round(worst_allowed(0.5, 7.815), 3), round(worst_allowed(2.0, 7.815), 3)
    (1.118, 2.828)
    """
    return sqrt(best_misfit**2 + max(best_misfit**2, 1.0) * CHI2_ALLOWANCE / n_independent)


def novelty_p(misfit: float, extent_mm: float, library: EchoLibrary) -> float:
    """Share of simulated flaws of like length that fit as badly, counting this one; never 0.

    Long ragged flaws fit worse than short ones, so each is compared with its like: with the
    `_ALIKE` draws whose indications come closest in length, on a logarithmic axis.
    """
    away = np.abs(np.log(library.novelty_extents_mm / max(extent_mm, GRID_MM)))
    alike = library.novelty_misfits[np.argsort(away, kind="stable")[:_ALIKE]]
    return float((1 + np.sum(alike >= misfit)) / (1 + len(alike)))


def fit_indication(library: EchoLibrary, window: EchoWindow) -> IndicationFit:
    """Search the table, refine the best of every cause that comes close, list what else fits."""
    found = search(library, window)
    causes = library.causes
    table_misfit = float(found.misfit.min())
    fits = []
    for cause in EchoCause:
        members = np.flatnonzero(causes == cause.value)
        if len(members):
            fits.append(_fit_of(library, window, found, cause, members, table_misfit))
    fits.sort(key=lambda fit: fit.misfit)
    return IndicationFit(
        tuple(fits),
        worst_allowed(fits[0].misfit, window.n_independent),
        table_misfit,
        novelty_p(table_misfit, window.extent_mm, library),
    )


def _fit_of(
    library: EchoLibrary,
    window: EchoWindow,
    found: Found,
    cause: EchoCause,
    members: NDArray[np.intp],
    table_misfit: float,
) -> CauseFit:
    order = members[np.argsort(found.misfit[members], kind="stable")]
    best = _Candidate.of_table(library, window, found, int(order[0]))
    # Flaws of the table are compared with each other: all err by the same grid.
    close = members[found.misfit[members] <= worst_allowed(best.misfit, window.n_independent)]
    nearly = _REFINE_WITHIN * worst_allowed(table_misfit, window.n_independent)
    starts = _starts(library, order[found.misfit[order] <= nearly])
    refined = [_refined(library, _Candidate.of_table(library, window, found, index)) for index in starts]
    best = min([best, *refined], key=lambda one: one.misfit)
    allowed = worst_allowed(best.misfit, window.n_independent)
    good = [(start, one.flaw) for start, one in zip(starts, refined, strict=True) if one.misfit <= allowed]
    ranges = _ranges(library, [*close.tolist(), *(i for i, _ in good)], [best.flaw, *(f for _, f in good)])
    excess = _in_window(best.way, _excess(library, best.way, best.flaw), best.centre_mm)
    ends = window.positions_mm[0] + window.positions_mm[-1]
    return CauseFit(
        cause,
        best.flaw,
        float(ends) - best.centre_mm if best.mirrored else best.centre_mm,
        best.mirrored,
        best.misfit,
        ranges,
        excess[:, ::-1] if best.mirrored else excess,
    )


@dataclass(frozen=True, eq=False)
class _Candidate:
    """One flaw at one place, in the coordinates of the travel direction that it fits."""

    way: EchoWindow
    mirrored: bool
    flaw: SimulatedFlaw
    centre_mm: float
    misfit: float

    @classmethod
    def of_table(cls, library: EchoLibrary, window: EchoWindow, found: Found, index: int) -> _Candidate:
        """Take a flaw of the table where the search left it."""
        mirrored, centre = bool(found.mirrored[index]), float(found.centre_mm[index])
        if mirrored:
            centre = float(window.positions_mm[0] + window.positions_mm[-1]) - centre
        way = window.mirrored() if mirrored else window
        return cls(way, mirrored, library.designed[index].flaw, centre, float(found.misfit[index]))


def _starts(library: EchoLibrary, order: NDArray[np.intp]) -> list[int]:
    """The best flaws of different kinds: raised and lowered, even and leaning, one hole and two."""
    first: dict[tuple[object, ...], int] = {}
    for index in order.tolist():
        flaw = library.designed[index].flaw
        first.setdefault((flaw.lean, flaw.shift_mm > 0, flaw.gap_mm > 0), index)
    return list(first.values())[:_STARTS]


def _ranges(
    library: EchoLibrary, indices: Sequence[int], refined: Sequence[SimulatedFlaw]
) -> dict[Size, tuple[float, float]]:
    """Smallest ranges that hold the cells of some flaws of the table, and some refined flaws."""
    spans = [(size, (value, value)) for flaw in refined for size, value in flaw.sizes.items()]
    spans += [span for index in indices for span in library.designed[index].cells.items()]
    ranges: dict[Size, tuple[float, float]] = {}
    for size, (low, high) in spans:
        before = ranges.get(size, (low, high))
        ranges[size] = (min(before[0], low), max(before[1], high))
    return ranges


def _excess(library: EchoLibrary, window: EchoWindow, flaw: SimulatedFlaw) -> tuple[Floats, Floats]:
    specular, scatter = echo_on_grid(flaw, library.joint, library.head)
    return excess_pct(specular, scatter, window.levels, flaw.bump)


def _in_window(window: EchoWindow, excess: tuple[Floats, Floats], centre_mm: float) -> Floats:
    half = len(excess[0]) // 2
    at = centre_mm + GRID_MM * np.arange(-half, half + 1)
    return np.stack([np.interp(window.positions_mm, at, one, 0.0, 0.0) for one in excess])


def _refined(library: EchoLibrary, start: _Candidate) -> _Candidate:
    """Let position and sizes leave the grid; the theory itself is asked, a few dozen times at most."""
    flaw = start.flaw
    varied = tuple(name for name in _VARIED[flaw.cause] if getattr(flaw, name))
    residuals = _residuals_of(library, start.way, flaw, varied)
    limits = [(-2 * GRID_MM, 2 * GRID_MM), *(_room(library, flaw, name) for name in varied)]
    try:
        answer = least_squares(
            lambda values: residuals(values, start.centre_mm),
            np.zeros(len(limits)),
            bounds=tuple(zip(*limits, strict=True)),
            max_nfev=_STEPS,
            diff_step=_NUDGE,
        )
    except SeamtellError:
        # A step left the theory's range: the flaw of the table stands as it is.
        return start
    misfit = sqrt(2 * float(answer.cost) / start.way.n_counted)
    if misfit >= start.misfit:
        return start
    changed = _scaled(library, flaw, varied, answer.x[1:])
    return replace(start, flaw=changed, centre_mm=start.centre_mm + float(answer.x[0]), misfit=misfit)


def _room(library: EchoLibrary, flaw: SimulatedFlaw, name: str) -> tuple[float, float]:
    """How far the logarithm of a size may go: a step of the design, never out of the class's range."""
    size = _SIZE_OF.get(name)
    if name == "shift_mm":
        size = Size.LOWERED if flaw.shift_mm > 0 else Size.RAISED
    cells = [
        one.cells[size]
        for one in library.designed
        if one.flaw.cause is flaw.cause and size is not None and size in one.cells
    ]
    now = abs(getattr(flaw, name))
    ends = [abs(end) for cell in cells for end in cell if end] or [now / _FREEDOM, now * _FREEDOM]
    low, high = log(min(ends) / now), log(max(ends) / now)
    return max(low, -log(_FREEDOM)) - _SLACK, min(high, log(_FREEDOM)) + _SLACK


def _residuals_of(
    library: EchoLibrary, way: EchoWindow, flaw: SimulatedFlaw, varied: tuple[str, ...]
) -> Callable[[Floats, float], Floats]:
    """Residuals at a shift and at logarithms of size factors; a shift alone asks no theory."""
    known: dict[bytes, tuple[Floats, Floats]] = {}

    def residuals(values: Floats, centre_mm: float) -> Floats:
        key = np.ascontiguousarray(values[1:]).tobytes()
        if key not in known:
            known[key] = _excess(library, way, _scaled(library, flaw, varied, values[1:]))
        return way.residuals(known[key], centre_mm + float(values[0]))

    return residuals


def _scaled(
    library: EchoLibrary, flaw: SimulatedFlaw, varied: tuple[str, ...], logs: Floats
) -> SimulatedFlaw:
    sizes = {name: getattr(flaw, name) * exp(float(v)) for name, v in zip(varied, logs, strict=True)}
    if "depth_mm" in sizes:
        sizes["depth_mm"] = min(sizes["depth_mm"], library.joint.mean_mm)
    return flaw.resized(sizes)
