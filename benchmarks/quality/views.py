"""What a rival is shown of an indication: which stretch, in which unit; needs NumPy alone."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

__all__ = ["Shown", "Stretch", "Unit", "View", "facts", "read_shown", "series"]

PITCH_MM = 0.5
_NEAR_SAMPLES = 128
_BEAM_MM = 9.4


class Stretch(StrEnum):
    """How much of the seam."""

    WIDE = "256 mm"
    NEAR = "64 mm"
    CROP = "extent and one beam"


class Unit(StrEnum):
    """Amplitudes as the rival reads them."""

    SCALED = "noise"
    COMPRESSED = "noise, asinh"
    RAW = "% FSH"


@dataclass(frozen=True)
class View:
    """One way to show an indication.

    Parameters
    ----------
    with_facts : bool
        Whether height and extent, which a method may lose, stand beside its features.
    """

    stretch: Stretch
    unit: Unit
    with_facts: bool

    def __str__(self) -> str:
        return f"{self.stretch}, {self.unit}" + (", with height and extent" if self.with_facts else "")


@dataclass(frozen=True, eq=False)
class Shown:
    """The windows of some sections, as `Sections` has them."""

    scaled: NDArray[np.float32]
    raw_pct: NDArray[np.float32]
    extent_mm: NDArray[np.float64]
    written: NDArray[np.int64]

    def take(self, rows: NDArray[np.int64]) -> Shown:
        """Rows by number."""
        return Shown(self.scaled[rows], self.raw_pct[rows], self.extent_mm[rows], self.written[rows])


def read_shown(path: Path) -> Shown:
    """Read what rivals need of a file of sections."""
    with np.load(path, allow_pickle=False) as archive:
        return Shown(*(archive[name] for name in ("scaled", "raw_pct", "extent_mm", "written")))


def facts(shown: Shown) -> NDArray[np.float64]:
    """Logarithms of extent and of the highest amplitude of each channel in both units, shape (n, 5).

    Heights are taken inside the extent, so that a higher neighbour is not read instead.
    """
    inside = _inside(shown, 0.0)[:, None, :]
    heights = [np.where(inside, a, -np.inf).max(axis=2) for a in (shown.scaled, shown.raw_pct)]
    columns = [shown.extent_mm[:, None], *(np.maximum(h, 0.1) for h in heights)]
    return np.log(np.maximum(np.concatenate(columns, axis=1), 0.1))


def series(shown: Shown, view: View, average: int = 1) -> list[NDArray[np.float64]] | NDArray[np.float64]:
    """Series of shape (2, samples) for each section, `average` samples in one.

    One array of shape (n, 2, samples) where all are of one length; a list where they are cropped.
    """
    values = _in_unit(shown, view.unit)
    if view.stretch is Stretch.NEAR:
        first = (values.shape[2] - _NEAR_SAMPLES) // 2
        values = values[:, :, first : first + _NEAR_SAMPLES]
    if view.stretch is Stretch.CROP and average == 1:
        kept = _inside(shown, _BEAM_MM)
        return [one[:, mask] for one, mask in zip(values, kept, strict=True)]
    if view.stretch is Stretch.CROP:
        values = np.where(_inside(shown, _BEAM_MM)[:, None, :], values, 0.0)
    n, channels, samples = values.shape
    return values.reshape(n, channels, samples // average, average).mean(axis=3)


def _in_unit(shown: Shown, unit: Unit) -> NDArray[np.float64]:
    if unit is Unit.RAW:
        return shown.raw_pct.astype(np.float64)
    scaled = shown.scaled.astype(np.float64)
    return np.arcsinh(scaled) if unit is Unit.COMPRESSED else scaled


def _inside(shown: Shown, margin_mm: float) -> NDArray[np.bool_]:
    """Samples within the indication and `margin_mm` round it, shape (n, samples)."""
    samples = shown.scaled.shape[2]
    from_middle = np.abs(np.arange(samples) - samples / 2) * PITCH_MM
    return np.asarray(from_middle[None, :] <= shown.extent_mm[:, None] / 2 + margin_mm)
