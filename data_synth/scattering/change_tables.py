"""Strength of offset sheets and of beads, tabulated over their size for one joint and wavenumber.

Curves are kept as pieces of Chebyshev series, built when first asked for. What a change
adds is R with it minus R of the same stairs without it, so that it vanishes with the change.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.polynomial import chebyshev

from seamtell.data_synth.arrays import Complex, Floats
from seamtell.data_synth.head import Joint
from seamtell.data_synth.scattering.joint_chain import FULL_RAMP_SHIFT_MM, bead_chain, offset_chain
from seamtell.data_synth.scattering.mode_matching import Chain, scatter_once
from seamtell.features.errors import SeamtellError

__all__ = ["LARGEST_SHIFT_SHARE", "BeadTable", "ShiftTable", "bead_table", "shift_table"]

LARGEST_SHIFT_SHARE = 0.85
"""Share of a sheet's thickness up to which offsets are tabulated."""
_FUNCTIONS = 12
_NODES = 8
_WIDTH_STEP_MM = 0.25


def _reflection(chain: Chain, k: float) -> complex:
    return scatter_once(chain, k, _FUNCTIONS).reflection


@dataclass(frozen=True, eq=False)
class ShiftTable:
    """What an offset of sheet B adds to the sound joint's reflection, for one joint and wavenumber."""

    _edges: tuple[float, ...]
    _parts: tuple[Complex, ...]

    def added(self, shift_mm: Floats) -> Complex:
        """R(shift) - R(0), shape of `shift_mm`.

        Raises
        ------
        SeamtellError
            The shift is beyond the table.
        """
        shift = np.asarray(shift_mm, dtype=np.float64)
        if np.any((shift < self._edges[0]) | (shift > self._edges[-1])):
            raise SeamtellError(
                f"sheet B offset by {shift.flat[np.abs(shift).argmax()]:.2f} mm, expected "
                f"{self._edges[0]:.2f} to {self._edges[-1]:.2f} mm for these sheets"
            )
        return np.where(shift == 0, 0, _read_parts(self._edges, self._parts, shift))


@lru_cache(maxsize=256)
def shift_table(joint: Joint, k_per_mm: float) -> ShiftTable:
    """Tabulate offsets of both signs; kept for the next call. About half a second."""
    lowest, highest = -LARGEST_SHIFT_SHARE * joint.sheet_a_mm, LARGEST_SHIFT_SHARE * joint.sheet_b_mm
    # the stairs close up below this offset, so the curve has a kink there, as it has at zero
    kink = min(FULL_RAMP_SHIFT_MM, -lowest / 2, highest / 2)
    edges = (lowest, -kink, 0.0, kink, highest)
    sound = _reflection(offset_chain(joint, 0.0), k_per_mm)
    return ShiftTable(
        edges,
        tuple(
            _fit(lambda s: _reflection(offset_chain(joint, s), k_per_mm) - sound, low, high, _NODES)
            for low, high in itertools.pairwise(edges)
        ),
    )


def _fit(value: Callable[[float], complex], low: float, high: float, n: int) -> Complex:
    """Chebyshev coefficients of a function between two places."""
    places = chebyshev.chebpts2(n)
    values = np.array([value(float(low + (high - low) * (place + 1) / 2)) for place in places])
    return np.asarray(chebyshev.chebfit(places, values, n - 1))


@dataclass(frozen=True, eq=False)
class BeadTable:
    """What a bead adds to the sound joint's reflection, for one joint, width and wavenumber."""

    _edges: tuple[float, ...]
    _parts: tuple[Complex, ...]

    def added(self, height_mm: Floats) -> Complex:
        """R(height) - R(0), shape of `height_mm`.

        Raises
        ------
        SeamtellError
            The bead is higher, or the groove deeper, than the table.
        """
        height = np.asarray(height_mm, dtype=np.float64)
        if np.any((height < self._edges[0]) | (height > self._edges[-1])):
            raise SeamtellError(
                f"bead of {height.flat[np.abs(height).argmax()]:.2f} mm, expected {self._edges[0]:.2f} to "
                f"{self._edges[-1]:.2f} mm on this joint"
            )
        return height * _read_parts(self._edges, self._parts, height)


def bead_table(joint: Joint, width_mm: float, k_per_mm: float) -> BeadTable:
    """Beads and grooves of one width.

    Read by cubic interpolation between tables of fixed widths, so that droplets of many
    widths share them; narrower than the first of these, tabulated as it is. Each table
    takes about 0.2 s and is kept.
    """
    place = width_mm / _WIDTH_STEP_MM
    first = int(place) - 1
    if first < 1 or abs(place - round(place)) < 1e-9:
        return _bead_table_at(joint, width_mm, k_per_mm)
    tables = [_bead_table_at(joint, number * _WIDTH_STEP_MM, k_per_mm) for number in range(first, first + 4)]
    shares = _cubic_shares(place - first)
    parts = tuple(
        np.asarray(sum(share * part for share, part in zip(shares, same, strict=True)))
        for same in zip(*(table._parts for table in tables), strict=True)
    )
    return BeadTable(tables[0]._edges, parts)


def _cubic_shares(place: float) -> list[float]:
    """Weights of values at 0, 1, 2, 3 in the cubic through them, read at `place`."""
    return [
        float(np.prod([(place - other) / (own - other) for other in range(4) if other != own]))
        for own in range(4)
    ]


@lru_cache(maxsize=256)
def _bead_table_at(joint: Joint, width_mm: float, k_per_mm: float) -> BeadTable:
    thinner = min(joint.sheet_a_mm, joint.sheet_b_mm)
    edges = tuple(share * thinner for share in (-0.7, -0.15, 0.15, 0.4, 0.7, 1.0))
    sound = _reflection(bead_chain(joint, 0.0, width_mm), k_per_mm)

    def per_mm(height: float) -> complex:
        return (_reflection(bead_chain(joint, height, width_mm), k_per_mm) - sound) / height

    return BeadTable(edges, tuple(_fit(per_mm, low, high, _NODES) for low, high in itertools.pairwise(edges)))


def _read_parts(edges: tuple[float, ...], parts: tuple[Complex, ...], at: Floats) -> Complex:
    """Read a curve kept as one Chebyshev series between each two edges."""
    which = np.clip(np.searchsorted(edges, at, side="right") - 1, 0, len(parts) - 1)
    low, high = np.array(edges)[which], np.array(edges)[which + 1]
    place, series = 2 * (at - low) / (high - low) - 1, np.array(parts)[which]
    return np.asarray(chebyshev.chebval(place, np.moveaxis(series, -1, 0), tensor=False))
