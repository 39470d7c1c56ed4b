"""What can disturb a trace besides flaws: the kinds, without any magnitude.

Whoever invents a shop and whoever expects one state their own magnitudes, each in a
module of its own; this is all they share. A nuisance that is ``None`` is off. Each
draws from its own random stream, so that switching one off leaves the others as they were.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Self

__all__ = [
    "BeadRoughness",
    "BiasRipple",
    "Clipping",
    "CoilAttenuation",
    "ElectronicNoise",
    "EncoderErrors",
    "GainDrift",
    "GrainNoise",
    "LiftOffBounce",
    "LiftOffWander",
    "NuisanceSet",
    "Quantisation",
    "RoughStretch",
    "RunInOut",
    "Spatter",
]

Range = tuple[float, float]


@dataclass(frozen=True)
class BeadRoughness:
    """Bead height that wanders along the seam; the correlation is down to 1/e at `correlation_mm`."""

    rms_mm: float
    correlation_mm: float
    across_mm: float


@dataclass(frozen=True)
class LiftOffWander:
    """Gap between coil and sheet that wanders, common to both channels.

    A meander coil of period p couples as exp(-2 pi g / p), there and back
    exp(-4 pi g / p) (textbook; from memory).
    """

    sd_mm: float
    correlation_mm: float
    coil_period_mm: float


@dataclass(frozen=True)
class LiftOffBounce:
    """The head hops or is pressed down for a moment: a false indication on specular alone."""

    per_seam: float
    closer_mm: Range
    length_mm: Range


@dataclass(frozen=True)
class GainDrift:
    """Gain that drifts from one end of the seam to the other, both channels."""

    sd_db: float


@dataclass(frozen=True)
class BiasRipple:
    """Ripple of the bias field along the sheet, each channel in its own phase."""

    amplitude_db: float
    period_mm: Range


@dataclass(frozen=True)
class CoilAttenuation:
    """Attenuation of the wave in one coil's steel against the mean of all coils.

    The tilted path is longer than the straight one, so scatter loses a little more.
    """

    sd_db_per_mm: float


@dataclass(frozen=True)
class GrainNoise:
    """Backscatter of the grains in the gate: complex, frozen in the sheet, as smooth as the beam."""

    sd_pct: float
    correlation_mm: float


@dataclass(frozen=True)
class ElectronicNoise:
    """Receiver noise after averaging, as a complex number before the magnitude is taken."""

    specular_pct: float
    scatter_pct: float


@dataclass(frozen=True)
class Spatter:
    """Droplets that froze on the bead: added mass, small, and on both channels."""

    per_seam: float
    height_mm: Range
    length_mm: Range
    across_mm: Range


@dataclass(frozen=True)
class RoughStretch:
    """A stretch of restless but sound bead, `times` as rough as the rest."""

    per_seam: float
    length_mm: Range
    times: Range


@dataclass(frozen=True)
class RunInOut:
    """Both ends of the seam: the beam is half off the sheet and sees its corner."""

    corner_pct: Range
    fade_mm: Range
    beam_sd_mm: float


@dataclass(frozen=True)
class EncoderErrors:
    """Position jitter, and samples that were lost: the last value is held."""

    sd_mm: float
    correlation_mm: float
    drops_per_sample: float
    longest_drop: int


@dataclass(frozen=True)
class Quantisation:
    """Steps of the recorder."""

    step_pct: float


@dataclass(frozen=True)
class Clipping:
    """Nothing above full screen is recorded."""

    full_scale_pct: float


@dataclass(frozen=True)
class NuisanceSet:
    """All of them, off by default.

    Examples
    --------
    >>> NuisanceSet.none().spatter is None
    True
    """

    bead_roughness: BeadRoughness | None = None
    lift_off_wander: LiftOffWander | None = None
    lift_off_bounce: LiftOffBounce | None = None
    gain_drift: GainDrift | None = None
    bias_ripple: BiasRipple | None = None
    coil_attenuation: CoilAttenuation | None = None
    grain_noise: GrainNoise | None = None
    electronic_noise: ElectronicNoise | None = None
    spatter: Spatter | None = None
    rough_stretch: RoughStretch | None = None
    run_in_out: RunInOut | None = None
    encoder_errors: EncoderErrors | None = None
    quantisation: Quantisation | None = None
    clipping: Clipping | None = None

    @classmethod
    def none(cls) -> Self:
        """Every switch off: the bare model."""
        return cls(**{field.name: None for field in fields(cls)})
