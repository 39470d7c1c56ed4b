"""The data contracts that every part of seamtell shares.

Positions are in mm from the seam start, amplitudes in percent of full screen
height (% FSH), times in UTC. Nothing here reads files or computes anything.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "CHANNELS",
    "UNCLASSIFIED",
    "Channel",
    "Flaw",
    "Indication",
    "Purpose",
    "RecipeLimits",
    "SeamTrace",
    "Side",
]

UNCLASSIFIED = "unclassified"
"""The answer of a classifier that abstains; the limit rule alone then speaks."""


class Channel(StrEnum):
    """The two channels that the descriptors read; a trace may carry more."""

    SPECULAR = "specular"
    """Beam straight at the seam, the same head receives: a sound seam gives a steady few percent."""
    SCATTER = "scatter"
    """Transmit and receive tilted off the normal: a sound seam gives close to zero."""


CHANNELS: tuple[str, ...] = tuple(channel.value for channel in Channel)


class Flaw(StrEnum):
    """What a destructive section can find. Group numbers after ISO 6520-1 (from memory)."""

    PINHOLE = "pinhole"
    """Gas pore or burn-through hole, 0.2-2 mm (groups 201 and 510, from memory)."""
    EDGE_NOTCH = "edge_notch"
    """Short part-depth slot at the top or bottom edge, 2-10 mm (group 501, from memory)."""
    LACK_OF_FUSION = "lack_of_fusion"
    """Unfused ligament, 5-80 mm, part or full penetration (groups 401 and 402, from memory)."""
    MISMATCH = "mismatch"
    """The two sheets offset in height, 10-200 mm (group 507, from memory)."""
    SOUND = "sound"
    """Sectioned and nothing found: an indication here was a false one."""


class Side(StrEnum):
    """The face that a sectioned flaw opens to."""

    TOP = "top"
    BOTTOM = "bottom"
    THROUGH = "through"
    NA = "na"


class Purpose(StrEnum):
    """Why a section was cut; it decides how the section may be used in statistics."""

    TARGETED = "targeted"
    RANDOM = "random"
    PLANNED = "planned"


@dataclass(frozen=True, eq=False)
class SeamTrace:
    """One inspected seam: amplitudes of every channel on one regular grid.

    Parameters
    ----------
    seam_id : str
        The shop's own name of the seam; any text, never used as a file name.
    welded_at : datetime
        Timezone-aware, UTC.
    line, recipe : str
        Production line and welding recipe.
    start_mm, pitch_mm : float
        Position of sample 0 and distance between samples; ``pitch_mm > 0``.
    amplitudes_pct : mapping of str to float32 array of shape (n,)
        One array a channel, % FSH, all of one length; has at least ``CHANNELS``.
    coil, shift : str
        Empty when unknown.
    thickness_a_mm, thickness_b_mm, speed_m_per_min : float
        NaN when unknown.
    extra : mapping of str to str
        Any further metadata of the shop.
    """

    seam_id: str
    welded_at: datetime
    line: str
    recipe: str
    start_mm: float
    pitch_mm: float
    amplitudes_pct: Mapping[str, NDArray[np.float32]]
    coil: str = ""
    shift: str = ""
    thickness_a_mm: float = float("nan")
    thickness_b_mm: float = float("nan")
    speed_m_per_min: float = float("nan")
    extra: Mapping[str, str] = field(default_factory=dict)

    @property
    def n_samples(self) -> int:
        """Number of samples of each channel."""
        return len(next(iter(self.amplitudes_pct.values())))

    @property
    def end_mm(self) -> float:
        """Position of the last sample."""
        return self.start_mm + (self.n_samples - 1) * self.pitch_mm

    def positions_mm(self) -> NDArray[np.float64]:
        """Positions of the samples, shape (n,)."""
        return self.start_mm + self.pitch_mm * np.arange(self.n_samples, dtype=np.float64)


@dataclass(frozen=True)
class RecipeLimits:
    """What the approved inspection procedure states for one recipe.

    Parameters
    ----------
    recipe : str
    limit_pct : mapping of str to float
        Limit of each channel in % FSH; a sample *above* it fails the seam.
    dead_zone_start_mm, dead_zone_end_mm : float
        Length at either end of the seam that the procedure does not judge.
    beam_width_mm : float
        Full width at half maximum of the two-way beam at the seam.
    """

    recipe: str
    limit_pct: Mapping[str, float]
    dead_zone_start_mm: float
    dead_zone_end_mm: float
    beam_width_mm: float


@dataclass(frozen=True)
class Indication:
    """A stretch of seam that stands out of baseline and noise on at least one channel.

    Parameters
    ----------
    seam_id : str
    indication : int
        0, 1, … in order of position.
    start_mm, end_mm : float
        Extent over all channels that show it.
    peak_mm : float
        Where the highest noise-normalised excursion lies.
    channels : tuple of str
        Channels that show it.
    exceeded_channels : tuple of str
        Channels with a sample above the limit within the extent, outside the dead zones.
    """

    seam_id: str
    indication: int
    start_mm: float
    end_mm: float
    peak_mm: float
    channels: tuple[str, ...]
    exceeded_channels: tuple[str, ...]

    @property
    def exceeds_limit(self) -> bool:
        """Whether any channel exceeds its limit here."""
        return bool(self.exceeded_channels)
