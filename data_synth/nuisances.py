"""What disturbs the traces of the invented shop: every magnitude, argued beside it.

The kinds are `nuisance_kinds`. These are the shop's own numbers: what is expected of a
shop that one does not know is stated elsewhere, and neither knows the other.
"""

from __future__ import annotations

from dataclasses import dataclass

from seamtell.data_synth import nuisance_kinds as kinds

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
    "Nuisances",
    "Quantisation",
    "RoughStretch",
    "RunInOut",
    "Spatter",
]


@dataclass(frozen=True)
class BeadRoughness(kinds.BeadRoughness):
    """Bead height that wanders along the seam (correlated).

    0.012 mm rms over 2 mm: invented, chosen so that the specular level of a 1.5/1.3 mm
    seam wavers by some tenths of a percent and scatter idles at 0-1 % (common practice).
    A laser bead's ripple is of the order of a percent of the sheet.
    """

    rms_mm: float = 0.012
    correlation_mm: float = 2.0
    across_mm: float = 1.0


@dataclass(frozen=True)
class LiftOffWander(kinds.LiftOffWander):
    """Gap between coil and sheet that wanders, common to both channels.

    A meander coil of period p couples as exp(-2 pi g / p), there and back
    exp(-4 pi g / p) (textbook; from memory). The period equals the wavelength, 5.4 mm.
    0.03 mm of wander, about 0.6 dB: invented, a well guided head.
    """

    sd_mm: float = 0.03
    correlation_mm: float = 60.0
    coil_period_mm: float = 5.38


@dataclass(frozen=True)
class LiftOffBounce(kinds.LiftOffBounce):
    """The head hops or is pressed down for a moment: a false indication on specular alone.

    0.05-0.25 mm closer over 5-30 mm, once in twenty seams: invented.
    """

    per_seam: float = 0.05
    closer_mm: tuple[float, float] = (0.05, 0.25)
    length_mm: tuple[float, float] = (5.0, 30.0)


@dataclass(frozen=True)
class GainDrift(kinds.GainDrift):
    """Gain that drifts from one end of the seam to the other, both channels.

    0.25 dB (standard deviation): invented, warming of coil and magnet.
    """

    sd_db: float = 0.25


@dataclass(frozen=True)
class BiasRipple(kinds.BiasRipple):
    """Ripple of the bias field along the sheet, each channel in its own phase.

    0.15 dB over 20-60 mm: invented, half the ripple that the pole pitch of a magnet yields.
    """

    amplitude_db: float = 0.15
    period_mm: tuple[float, float] = (20.0, 60.0)


@dataclass(frozen=True)
class CoilAttenuation(kinds.CoilAttenuation):
    """Steel that differs from coil to coil, against the mean that the reference holds.

    0.015 dB/mm, over the 30 mm there and back 0.45 dB (standard deviation): invented.
    That attenuation in fine-grained sheet grows with the grain and stays at some
    hundredths of a dB a millimetre below 1 MHz: common practice.
    """

    sd_db_per_mm: float = 0.015


@dataclass(frozen=True)
class GrainNoise(kinds.GrainNoise):
    """Backscatter of the grains that lie in the gate.

    0.08 % FSH a component over 7 mm, about one beam: invented, below the receiver's noise
    in single samples and above it after smoothing, as in thin sheet at long waves.
    """

    sd_pct: float = 0.08
    correlation_mm: float = 7.0


@dataclass(frozen=True)
class ElectronicNoise(kinds.ElectronicNoise):
    """Receiver noise after averaging, as a complex number before the magnitude is taken.

    0.12 % FSH a component: invented, a signal-to-noise ratio of 35 dB on a 7 % seam.
    """

    specular_pct: float = 0.12
    scatter_pct: float = 0.12


@dataclass(frozen=True)
class Spatter(kinds.Spatter):
    """Droplets that froze on the bead: added mass, small, and on both channels.

    Once in eight seams, 0.1-0.7 mm high, 0.8-5 mm long: invented. The echo follows the
    bead strength, so it adds to the seam's with the phase opposite to a hole's.
    """

    per_seam: float = 0.12
    height_mm: tuple[float, float] = (0.1, 0.7)
    length_mm: tuple[float, float] = (0.8, 5.0)
    across_mm: tuple[float, float] = (0.6, 1.6)


@dataclass(frozen=True)
class RoughStretch(kinds.RoughStretch):
    """A stretch of restless but sound bead: taller ripple and a slightly raised mean.

    Once in twenty seams, 10-70 mm, two to five times the usual ripple: invented.
    """

    per_seam: float = 0.05
    length_mm: tuple[float, float] = (10.0, 70.0)
    times: tuple[float, float] = (2.0, 5.0)


@dataclass(frozen=True)
class RunInOut(kinds.RunInOut):
    """Both ends of the seam: the beam is half off the sheet and sees its corner.

    A corner of 2-12 % that fades over 4-9 mm: invented; that ends are not judged
    (dead zones) is common practice.
    """

    corner_pct: tuple[float, float] = (2.0, 12.0)
    fade_mm: tuple[float, float] = (4.0, 9.0)
    beam_sd_mm: float = 4.0


@dataclass(frozen=True)
class EncoderErrors(kinds.EncoderErrors):
    """Position jitter, and samples that were lost.

    0.1 mm over 25 mm of travel, one drop in 2,000 samples that holds the last value for
    1-4 samples: invented, a friction wheel in good order.
    """

    sd_mm: float = 0.1
    correlation_mm: float = 25.0
    drops_per_sample: float = 5e-4
    longest_drop: int = 4


@dataclass(frozen=True)
class Quantisation(kinds.Quantisation):
    """Steps of the recorder: 100 % over 2,000 steps (11 bit; invented)."""

    step_pct: float = 0.05


@dataclass(frozen=True)
class Clipping(kinds.Clipping):
    """Full screen: nothing above 100 % is recorded (common practice)."""

    full_scale_pct: float = 100.0


@dataclass(frozen=True)
class Nuisances(kinds.NuisanceSet):
    """All of them, on by default.

    Examples
    --------
    >>> Nuisances.none().spatter is None
    True
    """

    bead_roughness: kinds.BeadRoughness | None = BeadRoughness()
    lift_off_wander: kinds.LiftOffWander | None = LiftOffWander()
    lift_off_bounce: kinds.LiftOffBounce | None = LiftOffBounce()
    gain_drift: kinds.GainDrift | None = GainDrift()
    bias_ripple: kinds.BiasRipple | None = BiasRipple()
    coil_attenuation: kinds.CoilAttenuation | None = CoilAttenuation()
    grain_noise: kinds.GrainNoise | None = GrainNoise()
    electronic_noise: kinds.ElectronicNoise | None = ElectronicNoise()
    spatter: kinds.Spatter | None = Spatter()
    rough_stretch: kinds.RoughStretch | None = RoughStretch()
    run_in_out: kinds.RunInOut | None = RunInOut()
    encoder_errors: kinds.EncoderErrors | None = EncoderErrors()
    quantisation: kinds.Quantisation | None = Quantisation()
    clipping: kinds.Clipping | None = Clipping()
