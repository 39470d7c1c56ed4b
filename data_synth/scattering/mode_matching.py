"""Scalar SH waves at normal incidence through any chain of plate sections, solved exactly.

The plate is cut across the seam into sections. A section is one or more height
intervals of material with traction-free faces, over some length across the seam; the
first and the last run on for ever. A step, a ramp in stairs, a slot from either face or
inside, several ligaments side by side, a bead and offset sheets are all such chains::

    from seamtell.data_synth.scattering.mode_matching import Chain, Section, scatter

    notch = Chain((Section.of(0, 1.5), Section.of(0, 0.9, length_mm=0.3), Section.of(0, 1.3)))
    found = scatter(notch, k_per_mm=1.167)
    found.reflection, found.transmission  # of the fundamental mode, sheet A to sheet B
    found.matrix  # all propagating modes of both ends, symmetric and unitary

Where two sections meet, material touches material on *apertures*, and the unknown is
the flux (normal derivative) on each aperture. Displacements of the two sides are made
equal in the mean (Galerkin), which leaves a block tridiagonal system. The flux form is
chosen over a cascade of scattering matrices since it has no preferred ratio of mode
numbers, is stable for any length, as growing exponentials never enter, and since it
conserves energy and is reciprocal at any truncation; only the answer itself converges.

The flux is singular where an aperture ends on a re-entrant corner (distance^-1/3) or a
crack tip (distance^-1/2, a section of no length). The trial functions carry that
singularity (Gegenbauer polynomials times their weight), so that a dozen a side suffice.

References
----------
Modes and apertures: R. E. Collin, *Field Theory of Guided Waves* (from memory). Edge
singularities: J. Meixner, *The behavior of electromagnetic fields at edges*, IEEE Trans.
Antennas Propag. 20 (1972), from memory. Time goes as exp(-i omega t).
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from math import ceil, inf, isfinite, pi, sqrt

import numpy as np

from seamtell.data_synth.arrays import Complex, Floats
from seamtell.data_synth.scattering.aperture import Aperture, apertures_between
from seamtell.data_synth.scattering.sections import Chain, Interval, Section
from seamtell.features.errors import SeamtellError

__all__ = ["Chain", "Port", "Scattering", "Section", "scatter", "scatter_once"]

_FIRST_FUNCTIONS = 6
_MOST_FUNCTIONS = 32
_GROWTH = 1.5
_LONGEST_PHASE = 2.2
"""Radians across one piece: at pi the flux form has the resonance of a closed box."""
_AT_CUT_OFF = 1e-8
"""Squared wavenumber, over k squared, below which a mode at its cut-off is moved off it."""


@dataclass(frozen=True)
class Port:
    """A propagating mode of one of the two ends: cos(order pi (z - low) / height)."""

    first_end: bool
    interval: int
    order: int
    wavenumber_per_mm: float
    height_mm: float

    @property
    def power(self) -> float:
        """Energy flux of amplitude one on the face, up to a common factor."""
        return self.wavenumber_per_mm * self.height_mm / (2 if self.order else 1)


@dataclass(frozen=True, eq=False)
class Scattering:
    """Answer of a chain to every propagating mode of both ends.

    Parameters
    ----------
    ports : tuple of Port
    matrix : complex array of shape (n_ports, n_ports)
        Column: mode coming in; row: mode going out, both scaled to unit energy flux and
        referred to y = 0.
    residual : float
        Greatest change of the matrix in the last refinement; NaN if there was none.
    """

    ports: tuple[Port, ...]
    matrix: Complex
    residual: float

    @property
    def reflection(self) -> complex:
        """Displacement of the fundamental mode sent back to the first end, first interval."""
        return complex(self.matrix[0, 0])

    @property
    def transmission(self) -> complex:
        """Displacement of the fundamental mode sent on to the last end, first interval."""
        return self.amplitude(self._first_far, 0)

    @property
    def _first_far(self) -> int:
        return next(i for i, port in enumerate(self.ports) if not port.first_end)

    def amplitude(self, to: int, source: int) -> complex:
        """Displacement on the face of port `to` for displacement one on that of port `source`."""
        return complex(self.matrix[to, source]) * sqrt(self.ports[source].power / self.ports[to].power)

    @property
    def energy_error(self) -> float:
        """Greatest departure of the matrix from unitary: zero for no loss."""
        return float(np.abs(self.matrix.conj().T @ self.matrix - np.eye(len(self.ports))).max())


def scatter(chain: Chain, k_per_mm: float, *, tolerance: float = 1e-4) -> Scattering:
    """Solve a chain, refining until the answer changes by less than `tolerance`.

    Parameters
    ----------
    chain : Chain
    k_per_mm : float
        Wavenumber of SH0, above zero; any frequency, also above the first cut-off.
    tolerance : float
        Greatest change of any entry of the scattering matrix.

    Raises
    ------
    SeamtellError
        The refinement ends before the tolerance is met; names the achieved change.

    Examples
    --------
    Three millimetres are thick enough for a second mode at this frequency.

    >>> found = scatter(Chain((Section.of(0, 1.5), Section.of(0, 3.0))), 1.16716)
    >>> [(port.first_end, port.order) for port in found.ports]
    [(True, 0), (False, 0), (False, 1)]
    >>> found.energy_error < 1e-12
    True
    """
    n = _FIRST_FUNCTIONS
    coarse = scatter_once(chain, k_per_mm, n)
    change = inf
    while (finer := ceil(_GROWTH * n)) <= _MOST_FUNCTIONS:
        fine = scatter_once(chain, k_per_mm, finer)
        change = float(np.abs(fine.matrix - coarse.matrix).max())
        if change < tolerance:
            return Scattering(fine.ports, fine.matrix, change)
        n, coarse = finer, fine
    raise SeamtellError(
        f"no convergence of a chain of {len(chain.sections)} sections: last change {change:.1e}, "
        f"expected less than {tolerance:.1e}",
        do="ask for a larger tolerance, or leave out details far smaller than the sheet",
    )


def scatter_once(chain: Chain, k_per_mm: float, functions: int) -> Scattering:
    """Solve a chain with `functions` trial functions on each aperture, no refinement."""
    if not (isfinite(k_per_mm) and k_per_mm > 0):
        raise SeamtellError(f"wavenumber of {k_per_mm} per mm, expected above zero")
    sections, joints = _prepared(chain, k_per_mm, functions)
    starts = np.cumsum([0, *(sum(a.size for a in joint) for joint in joints)])
    spans = [slice(0, 0), *(slice(a, b) for a, b in itertools.pairwise(starts)), slice(0, 0)]
    sides = [(), *joints, ()]
    system = np.zeros((starts[-1], starts[-1]), dtype=complex)
    inputs: list[Complex] = []
    ports: list[Port] = []
    for index, section in enumerate(sections):
        place = _Place(sides[index], sides[index + 1], spans[index], spans[index + 1])
        for number, interval in enumerate(section.intervals_mm):
            gamma, *overlaps = _modes(interval, place, k_per_mm)
            if place.left and place.right:
                _add_box(system, place, *_box(gamma, section.length_mm), *overlaps)
            else:
                at, overlap = (place.at_left, overlaps[0]) if place.left else (place.at_right, overlaps[1])
                decays = gamma.real == 0
                system[at, at] -= (overlap[decays].T / gamma[decays].imag) @ overlap[decays]
                for order in np.flatnonzero(gamma.real > 0):
                    ports.append(_port(not place.left, number, int(order), gamma[order].real, interval))
                    column = np.zeros(starts[-1], dtype=complex)
                    column[at] = overlap[order] / sqrt(gamma[order].real)
                    system[at, at] -= 1j * np.outer(column[at], column[at])
                    inputs.append(column)
            _add_tails(system, place, interval)
    return _answer(chain, tuple(ports), system, np.array(inputs).T)


@dataclass(frozen=True)
class _Place:
    """Apertures to the left and right of a section, and where their unknowns stand."""

    left: tuple[Aperture, ...]
    right: tuple[Aperture, ...]
    at_left: slice
    at_right: slice


def _add_box(
    system: Complex, place: _Place, near: Floats, across: Floats, left: Floats, right: Floats
) -> None:
    """Add an interval between two joints: each side to itself and across."""
    system[place.at_left, place.at_left] += (left.T * near) @ left
    system[place.at_right, place.at_right] += (right.T * near) @ right
    coupling = (left.T * across) @ right
    system[place.at_left, place.at_right] -= coupling
    system[place.at_right, place.at_left] -= coupling.T


def _add_tails(system: Complex, place: _Place, interval: Interval) -> None:
    """Add the modes above the truncation: they decay at once, so no side feels the other."""
    for side, span in ((place.left, place.at_left), (place.right, place.at_right)):
        start = span.start
        for aperture in side:
            at = slice(start, start + aperture.size)
            system[at, at] -= aperture.tail(interval)
            start += aperture.size


def _answer(chain: Chain, ports: tuple[Port, ...], system: Complex, inputs: Complex) -> Scattering:
    """Turn fluxes into outgoing amplitudes: out = in - flux / (i gamma), scaled to unit energy flux."""
    flux = np.linalg.solve(system, 2 * inputs)
    sign = np.array([1 if port.first_end else -1 for port in ports])
    # Flux is counted along +y, so a wave from the far end meets the mirrored sign.
    matrix = np.eye(len(ports)) + 1j * (inputs.T @ flux)
    at = np.where(sign > 0, chain.start_mm, -chain.end_mm)
    turn = np.exp(1j * np.array([port.wavenumber_per_mm for port in ports]) * at)
    matrix = np.where(np.outer(sign, sign) > 0, matrix, -matrix)
    return Scattering(ports, turn[:, None] * matrix * turn[None, :], float("nan"))


def _port(first: bool, number: int, order: int, gamma: float, interval: Interval) -> Port:
    return Port(first, number, order, float(gamma), interval[1] - interval[0])


def _prepared(chain: Chain, k: float, functions: int) -> tuple[list[Section], list[tuple[Aperture, ...]]]:
    """Cut long sections, turn those of no length into cracks, and list the apertures of each joint."""
    kept: list[Section] = [chain.sections[0]]
    cracks: list[list[tuple[Interval, ...]]] = [[]]
    for section in chain.sections[1:-1]:
        if section.length_mm == 0:
            cracks[-1].append(section.intervals_mm)
            continue
        pieces = max(ceil(k * section.length_mm / _LONGEST_PHASE), 1)
        kept += [Section(section.intervals_mm, section.length_mm / pieces)] * pieces
        cracks += [[] for _ in range(pieces)]
    kept.append(chain.sections[-1])
    joints = []
    for (before, after), through in zip(itertools.pairwise(kept), cracks, strict=True):
        found = apertures_between(before.intervals_mm, after.intervals_mm, tuple(through))
        if not found:
            raise SeamtellError(
                f"a crack through all material between {before.intervals_mm} and {after.intervals_mm} mm, "
                "expected a ligament above zero",
                do="treat it as a slot through the sheet",
            )
        joints.append(tuple(aperture.with_functions(functions) for aperture in found))
    return kept, joints


def _modes(interval: Interval, place: _Place, k: float) -> tuple[Complex, Floats, Floats]:
    """Mode constants of an interval, and the overlaps of its modes with all functions of both sides."""
    height = interval[1] - interval[0]
    touching = [aperture for aperture in (*place.left, *place.right) if aperture.within(interval)]
    count = max([int(k * height / pi) + 2, *(aperture.modes_needed(height) for aperture in touching)])
    squared = k**2 - (np.arange(count) * pi / height) ** 2
    squared = np.where(np.abs(squared) < _AT_CUT_OFF * k**2, _AT_CUT_OFF * k**2, squared)
    gamma = np.sqrt(squared.astype(complex))
    overlaps = [
        np.concatenate([a.overlap(interval, count) for a in side], axis=1) if side else np.zeros((count, 0))
        for side in (place.left, place.right)
    ]
    return gamma, overlaps[0], overlaps[1]


def _box(gamma: Complex, length: float) -> tuple[Floats, Floats]:
    """cot(gamma L)/gamma and 1/(gamma sin gamma L): real, and without growing exponentials."""
    near, across = np.empty(len(gamma)), np.empty(len(gamma))
    travels = gamma.real > 0
    turn = gamma[travels].real * length
    near[travels] = 1 / (gamma[travels].real * np.tan(turn))
    across[travels] = 1 / (gamma[travels].real * np.sin(turn))
    decay = gamma[~travels].imag
    once = np.exp(-decay * length)
    lost = -np.expm1(-2 * decay * length) * decay
    near[~travels] = -(1 + once * once) / lost
    across[~travels] = -2 * once / lost
    return near, across
