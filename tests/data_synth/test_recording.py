from dataclasses import fields, replace

import numpy as np
import pytest

from seamtell.data_synth.flaws import Slot
from seamtell.data_synth.head import Head, Joint
from seamtell.data_synth.line_scan import line_scan
from seamtell.data_synth.nuisances import EncoderErrors, GrainNoise, LiftOffWander, Nuisances
from seamtell.data_synth.recording import Bounce, Stretch, attenuated_db, coupling_factor, record
from seamtell.features.contracts import Channel, Side

N, PITCH = 601, 0.5
HEAD, JOINT = Head(), Joint(1.5, 1.3)
SLOT = Slot.even(150.0, 20.0, 1.35, 0.1, Side.BOTTOM)


def recorded(
    nuisances: Nuisances, flaws=(), bounces=(), stretches=(), gain=0.0, seed=5
) -> dict[str, np.ndarray]:
    return record(
        flaws,
        JOINT,
        HEAD,
        nuisances,
        np.random.SeedSequence(seed),
        n_samples=N,
        pitch_mm=PITCH,
        gain_db=dict.fromkeys(Channel, gain),
        bounces=bounces,
        stretches=stretches,
    )


def test_without_nuisances_the_bare_model_is_recorded() -> None:
    bare = line_scan([SLOT], JOINT, HEAD, PITCH * np.arange(N))
    got = recorded(Nuisances.none(), [SLOT])
    for channel in Channel:
        assert np.abs(got[channel] - bare.amplitude_pct(channel)).max() < 1e-4


def test_same_seed_gives_the_same_trace_and_another_seed_another() -> None:
    assert np.array_equal(recorded(Nuisances())["specular"], recorded(Nuisances())["specular"])
    assert not np.array_equal(recorded(Nuisances())["specular"], recorded(Nuisances(), seed=6)["specular"])


RECORDED = (
    "bead_roughness",
    "lift_off_wander",
    "gain_drift",
    "bias_ripple",
    "electronic_noise",
    "run_in_out",
)


@pytest.mark.parametrize("name", [*RECORDED, "encoder_errors", "quantisation"])
def test_each_switch_changes_the_trace(name: str) -> None:
    assert name in {field.name for field in fields(Nuisances)}
    off = recorded(replace(Nuisances(), **{name: None}), [SLOT])
    assert not np.array_equal(off["specular"], recorded(Nuisances(), [SLOT])["specular"])


def test_switching_one_nuisance_off_leaves_the_others_as_they_were() -> None:
    both = recorded(
        replace(Nuisances.none(), gain_drift=Nuisances().gain_drift, bias_ripple=Nuisances().bias_ripple)
    )
    drift = recorded(replace(Nuisances.none(), gain_drift=Nuisances().gain_drift))
    ripple = recorded(replace(Nuisances.none(), bias_ripple=Nuisances().bias_ripple))
    bare = recorded(Nuisances.none())
    product = drift["specular"] * ripple["specular"] / bare["specular"]
    assert both["specular"] == pytest.approx(product, rel=1e-5)


def test_lift_off_follows_the_two_way_coupling_of_a_meander_coil() -> None:
    # exp(-2 pi g / p) each way: one tenth of a period farther away costs 4 pi / 10 nepers.
    assert coupling_factor(np.array([-0.538]), 5.38)[0] == pytest.approx(np.exp(-0.4 * np.pi))


def test_bounce_raises_both_channels_by_one_factor() -> None:
    still = replace(Nuisances.none(), lift_off_wander=LiftOffWander(sd_mm=0.0))
    calm, hopped = (recorded(still, [SLOT], b) for b in ((), (Bounce(150.0, 20.0, 0.2),)))
    at = 300 + np.arange(-10, 10)
    factors = [hopped[c][at] / calm[c][at] for c in Channel]
    assert factors[0] == pytest.approx(factors[1], rel=1e-4)
    assert factors[0].max() == pytest.approx(coupling_factor(np.array([0.2]), 5.38)[0], rel=1e-3)


def test_rough_stretch_is_restless_inside_and_calm_outside() -> None:
    only = replace(Nuisances.none(), bead_roughness=Nuisances().bead_roughness)
    trace = recorded(only, stretches=(Stretch(150.0, 60.0, 5.0),))["scatter"]
    assert trace[260:340].mean() > 2.5 * trace[40:160].mean()


def test_amplitudes_are_clipped_at_full_screen_and_come_in_steps() -> None:
    trace = recorded(Nuisances(), [SLOT], gain=6.0)["specular"]
    assert trace.max() == 100.0
    assert np.abs(trace / 0.05 - np.round(trace / 0.05)).max() < 1e-3


def test_a_lost_sample_repeats_the_one_before() -> None:
    losing = EncoderErrors(sd_mm=0.0, drops_per_sample=0.05)
    noisy = replace(Nuisances.none(), electronic_noise=Nuisances().electronic_noise)
    whole = recorded(noisy)["specular"]
    lossy = recorded(replace(noisy, encoder_errors=losing))["specular"]
    changed = np.flatnonzero(whole != lossy)
    assert len(changed) > 10
    assert (lossy[changed] == lossy[changed - 1]).all()


def test_sound_seam_idles_where_practice_expects_it() -> None:
    # Common practice: specular a steady few percent, scatter 0-1 %.
    trace = recorded(Nuisances())
    inner = slice(40, -40)
    assert 6 < np.median(trace["specular"][inner]) < 8
    assert trace["scatter"][inner].mean() < 0.6


def test_grain_noise_has_its_spread_and_is_as_smooth_as_the_beam() -> None:
    grains = replace(Nuisances.none(), grain_noise=GrainNoise(sd_pct=0.5, correlation_mm=7.0))
    scatter = np.array([recorded(grains, seed=seed)["scatter"] for seed in range(40)], dtype=np.float64)
    # The magnitude of a complex Gaussian is Rayleigh distributed: mean sd sqrt(pi / 2).
    assert scatter.mean() == pytest.approx(0.5 * np.sqrt(np.pi / 2), rel=0.06)
    calm = np.abs(np.diff(scatter, axis=1)).mean()
    apart = np.abs(scatter[:, 60:] - scatter[:, :-60]).mean()
    assert calm < 0.12 * apart


def test_lossy_steel_takes_more_on_the_longer_tilted_path() -> None:
    loss = attenuated_db(dict.fromkeys(Channel, 1.0), 0.02, HEAD)
    there_and_back_mm = 2 * HEAD.stand_off_mm
    assert loss[Channel.SPECULAR] == pytest.approx(1.0 - 0.02 * there_and_back_mm)
    # the tilt's cosine follows from its sine, 0.4
    assert loss[Channel.SCATTER] == pytest.approx(1.0 - 0.02 * there_and_back_mm / np.sqrt(1 - 0.4**2))
