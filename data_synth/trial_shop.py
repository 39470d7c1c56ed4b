"""A second invented shop, for experiments: what learns from physics must not know it.

Its heads, gains, nuisances and thickness pairs are neither the demo shop's nor those
that are expected of a shop; its flaw sizes are the invented shops' distributions, not
the ranges that an engineer expects. Flaws come oftener than anywhere, so that a
thousand seams hold enough of every class to cut.
"""

from __future__ import annotations

from seamtell.data_synth import nuisance_kinds as kinds
from seamtell.data_synth.head import Head, Joint
from seamtell.data_synth.shop_plan import CuttingPlan, LinePlan, RecipePlan, ShopPlan
from seamtell.features.contracts import Channel, Flaw

__all__ = ["trial_shop_plan"]


def trial_shop_plan() -> ShopPlan:
    """Plan of the trial shop: recipes ``TB-1613`` and ``TB-2016``, lines ``T1`` and ``T2``; all invented."""
    calm = dict.fromkeys(Flaw, (1.0,) * 6)
    return ShopPlan(
        recipes=(
            RecipePlan("TB-1613", Joint(1.6, 1.3, ramp_mm=0.7), 21.0, 6.0, speed_m_per_min=5.5),
            RecipePlan("TB-2016", Joint(2.0, 1.6, ramp_mm=0.5), 24.0, 7.0, speed_m_per_min=4.5),
        ),
        lines=(
            LinePlan(
                "T1",
                0.5,
                {Channel.SPECULAR: 0.9, Channel.SCATTER: -0.6},
                0.05,
                13,
                Head(aperture_sd_mm=4.65, stand_off_mm=15.6),
                new_head=Head(aperture_sd_mm=4.75, stand_off_mm=15.5),
                new_head_step_db={Channel.SPECULAR: -0.6, Channel.SCATTER: -0.1},
            ),
            LinePlan(
                "T2",
                0.5,
                {Channel.SPECULAR: -1.1, Channel.SCATTER: -0.2},
                0.09,
                17,
                Head(aperture_sd_mm=5.3, stand_off_mm=14.7),
            ),
        ),
        seam_length_mm=(350.0, 650.0),
        flaws_per_seam={
            Flaw.PINHOLE: 0.22,
            Flaw.EDGE_NOTCH: 0.2,
            Flaw.LACK_OF_FUSION: 0.18,
            Flaw.MISMATCH: 0.22,
        },
        month_factors=calm,
        close_second_share=0.08,
        nuisances=_nuisances(),
        cutting=CuttingPlan(wrong_label_share=0.02),
    )


def _nuisances() -> kinds.NuisanceSet:
    """A rougher bead, a calmer head and a noisier receiver than the demo shop's (invented)."""
    return kinds.NuisanceSet(
        bead_roughness=kinds.BeadRoughness(rms_mm=0.016, correlation_mm=2.6, across_mm=1.15),
        lift_off_wander=kinds.LiftOffWander(sd_mm=0.022, correlation_mm=75.0, coil_period_mm=5.3),
        lift_off_bounce=kinds.LiftOffBounce(per_seam=0.12, closer_mm=(0.06, 0.3), length_mm=(7.0, 26.0)),
        gain_drift=kinds.GainDrift(sd_db=0.4),
        bias_ripple=kinds.BiasRipple(amplitude_db=0.25, period_mm=(28.0, 55.0)),
        coil_attenuation=kinds.CoilAttenuation(sd_db_per_mm=0.025),
        grain_noise=kinds.GrainNoise(sd_pct=0.1, correlation_mm=6.5),
        electronic_noise=kinds.ElectronicNoise(specular_pct=0.15, scatter_pct=0.17),
        spatter=kinds.Spatter(
            per_seam=0.25, height_mm=(0.12, 0.75), length_mm=(1.0, 4.5), across_mm=(0.7, 1.8)
        ),
        rough_stretch=kinds.RoughStretch(per_seam=0.12, length_mm=(12.0, 60.0), times=(2.2, 4.5)),
        run_in_out=kinds.RunInOut(corner_pct=(3.0, 10.0), fade_mm=(5.0, 10.0), beam_sd_mm=3.9),
        encoder_errors=kinds.EncoderErrors(
            sd_mm=0.12, correlation_mm=20.0, drops_per_sample=7e-4, longest_drop=5
        ),
        quantisation=kinds.Quantisation(step_pct=0.04),
        clipping=kinds.Clipping(full_scale_pct=100.0),
    )
