"""What is expected to disturb a shop's traces before one has seen any: magnitudes for whole simulated seams.

They serve seams that are simulated from end to end, where nothing of the shop's own
recordings is at hand. Every number is this module's; droplets, bounces and rough
stretches are no nuisance here but flaws of class ``sound``, drawn like the others.
"""

from __future__ import annotations

import numpy as np

from seamtell.data_synth.nuisance_kinds import (
    BeadRoughness,
    BiasRipple,
    Clipping,
    CoilAttenuation,
    ElectronicNoise,
    EncoderErrors,
    GainDrift,
    GrainNoise,
    LiftOffWander,
    NuisanceSet,
    Quantisation,
    RunInOut,
)

__all__ = ["draw_expected_nuisances"]


def draw_expected_nuisances(rng: np.random.Generator) -> NuisanceSet:
    """Draw one seam's nuisances: how calm a shop is, is itself unknown, so each seam has its own level.

    Bead ripple of 0.5-1.5 % of a millimetre-thick sheet; a gap that wanders by hundredths
    of a millimetre under a coil as long as the wave (textbook: two-way coupling
    exp(-4 pi g / period)); tenths of a dB of drift and ripple; receiver noise 30 to 40 dB
    under a 7 % seam; an encoder good to a sample; a recorder of 10 bits. All invented,
    as one who has seen many such heads would guess.
    """
    noise = float(rng.uniform(0.07, 0.22))
    return NuisanceSet(
        bead_roughness=BeadRoughness(
            rms_mm=float(rng.uniform(0.005, 0.018)),
            correlation_mm=float(rng.uniform(1.2, 3.5)),
            across_mm=0.9,
        ),
        lift_off_wander=LiftOffWander(
            sd_mm=float(rng.uniform(0.01, 0.05)),
            correlation_mm=float(rng.uniform(40.0, 120.0)),
            coil_period_mm=5.4,
        ),
        gain_drift=GainDrift(sd_db=0.35),
        bias_ripple=BiasRipple(amplitude_db=0.2, period_mm=(15.0, 80.0)),
        coil_attenuation=CoilAttenuation(sd_db_per_mm=0.02),
        grain_noise=GrainNoise(sd_pct=float(rng.uniform(0.03, 0.12)), correlation_mm=8.0),
        electronic_noise=ElectronicNoise(specular_pct=noise, scatter_pct=noise),
        run_in_out=RunInOut(corner_pct=(1.0, 15.0), fade_mm=(3.0, 8.0), beam_sd_mm=4.2),
        encoder_errors=EncoderErrors(sd_mm=0.15, correlation_mm=30.0, drops_per_sample=2e-4, longest_drop=3),
        quantisation=Quantisation(step_pct=0.1),
        clipping=Clipping(full_scale_pct=100.0),
    )
