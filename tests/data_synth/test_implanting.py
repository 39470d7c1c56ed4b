from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import ks_2samp, kstest, uniform

from seamtell.data_synth.expected_flaws import ExpectedFlaw, GainBump, SoundCause, draw_expected_flaw
from seamtell.data_synth.flaws import FlawGeometry, Hole, Mismatch, RoughJoint, Slot
from seamtell.data_synth.head import Head, Joint
from seamtell.data_synth.implanting import (
    REACH_MM,
    HostSetting,
    Phases,
    draw_phases,
    host_setting,
    implant,
    implanted,
)
from seamtell.data_synth.line_scan import line_scan
from seamtell.data_synth.nuisances import Nuisances
from seamtell.data_synth.recording import record
from seamtell.features.contracts import Channel, Flaw, Side

JOINT, HEAD = Joint(1.5, 1.3), Head()
N, PITCH, BEAM_MM = 321, 0.5, 9.4
AT = PITCH * np.arange(N)
GAIN = {Channel.SPECULAR: 0.5, Channel.SCATTER: -0.5}
RESTLESS = replace(
    Nuisances.none(),
    bead_roughness=Nuisances().bead_roughness,
    grain_noise=Nuisances().grain_noise,
    electronic_noise=Nuisances().electronic_noise,
)
FLAWS = {
    "hole": Hole(80.0, 0.9),
    "notch": Slot.even(80.0, 5.0, 0.63, 0.3, Side.TOP),
    "lack of fusion": Slot.even(80.0, 20.0, 0.84, 0.1, Side.BOTTOM),
    "mismatch": Mismatch(80.0, 0.25, 30.0),
}


def recording(flaws: tuple[FlawGeometry, ...], seed: int, nuisances=RESTLESS) -> dict[str, np.ndarray]:
    return record(
        flaws,
        JOINT,
        HEAD,
        nuisances,
        np.random.SeedSequence(seed),
        n_samples=N,
        pitch_mm=PITCH,
        gain_db=GAIN,
    )


def as_flaw(part: FlawGeometry) -> ExpectedFlaw:
    start, end = part.extent_mm
    return ExpectedFlaw(Flaw.EDGE_NOTCH, "any", (part,), start, end, end - start)


def away_from(flaw: ExpectedFlaw) -> np.ndarray:
    gap_mm = np.maximum(flaw.start_mm - AT, AT - flaw.end_mm)
    return gap_mm > REACH_MM


def setting_of(sound: dict[str, np.ndarray]) -> HostSetting:
    return host_setting(JOINT, HEAD, GAIN, float(np.median(sound["specular"])))


def test_no_flaw_leaves_the_recording_bit_for_bit() -> None:
    sound = recording((), 1)
    out = implant(sound, AT, (), setting_of(sound), BEAM_MM, np.random.default_rng(0))
    assert all(np.array_equal(out[name], sound[name]) and out[name].dtype == np.float32 for name in sound)


def test_a_flat_lump_is_no_echo_and_leaves_the_recording_bit_for_bit() -> None:
    sound = recording((), 1)
    flat = as_flaw(RoughJoint(75.0, 0.5, (0.0,) * 20))
    out = implant(sound, AT, (flat,), setting_of(sound), BEAM_MM, np.random.default_rng(0))
    assert all(np.array_equal(out[name], sound[name]) for name in sound)


@pytest.mark.parametrize("kind", FLAWS)
def test_beyond_the_reach_of_the_flaw_nothing_is_touched(kind: str) -> None:
    sound, flaw = recording((), 2), as_flaw(FLAWS[kind])
    out = implant(sound, AT, (flaw,), setting_of(sound), BEAM_MM, np.random.default_rng(0))
    far = away_from(flaw)
    assert far.sum() > 20
    for name in sound:
        assert np.array_equal(out[name][far], sound[name][far])
        assert not np.array_equal(out[name], sound[name])


@settings(max_examples=25, deadline=None)
@given(label=st.sampled_from(list(Flaw)), seed=st.integers(0, 10**6), place_mm=st.floats(40.0, 120.0))
def test_any_expected_flaw_gives_a_recording_that_an_instrument_could_write(
    label: Flaw, seed: int, place_mm: float
) -> None:
    sound, rng = recording((), 7), np.random.default_rng(seed)
    flaw = draw_expected_flaw(label, JOINT, rng).placed(place_mm)
    out = implant(sound, AT, (flaw,), setting_of(sound), BEAM_MM, rng)
    for name in sound:
        assert out[name].dtype == np.float32
        assert np.isfinite(out[name]).all()
        assert ((out[name] >= 0) & (out[name] <= 100)).all()
        assert np.array_equal(out[name][away_from(flaw)], sound[name][away_from(flaw)])


@pytest.mark.parametrize("by_samples", [-20, 13])
def test_implanting_elsewhere_is_moving_what_was_implanted(by_samples: int) -> None:
    flat = {"specular": np.full(N, 6.9, np.float32), "scatter": np.full(N, 0.4, np.float32)}
    setting, phases = host_setting(JOINT, HEAD, GAIN, 6.9), Phases(-0.1, 0.7)
    flaw = as_flaw(FLAWS["notch"])
    here = implanted(flat, AT, (flaw,), setting, phases)
    there = implanted(flat, AT, (flaw.placed(by_samples * PITCH),), setting, phases)
    inner = slice(25, -25)
    for name in flat:
        assert there[name][inner] == pytest.approx(np.roll(here[name], by_samples)[inner], abs=2e-3)


@pytest.mark.parametrize("kind", FLAWS)
def test_without_noise_implanting_is_the_simulation_of_the_flawed_seam(kind: str) -> None:
    sound, true = (recording(parts, 3, Nuisances.none()) for parts in ((), (FLAWS[kind],)))
    out = implant(sound, AT, (as_flaw(FLAWS[kind]),), setting_of(sound), BEAM_MM, np.random.default_rng(0))
    # scatter of a bare sound seam is exactly zero, so its drawn phase cannot matter
    for name in sound:
        assert out[name] == pytest.approx(true[name], abs=0.02)


@pytest.mark.parametrize("kind", FLAWS)
def test_implanted_seam_is_the_simulated_one_on_specular_and_in_distribution_on_scatter(kind: str) -> None:
    rng = np.random.default_rng(4)
    true, put = [], []
    for seed in range(40):
        sound = recording((), seed)
        true.append(recording((FLAWS[kind],), seed))
        put.append(implant(sound, AT, (as_flaw(FLAWS[kind]),), setting_of(sound), BEAM_MM, rng))
    apart = np.array([one["specular"] for one in put]) - np.array([one["specular"] for one in true])
    assert np.abs(apart).max() < 2.0
    assert np.sqrt((apart**2).mean(axis=0)).max() < 0.65
    scatter = [np.array([one["scatter"] for one in seams]) for seams in (put, true)]
    peak = int(scatter[1].mean(axis=0).argmax())
    for sample in (peak - 12, peak, peak + 12):
        # two-sample Kolmogorov-Smirnov test, scipy
        assert ks_2samp(scatter[0][:, sample], scatter[1][:, sample]).pvalue > 0.003


def test_own_level_of_the_seam_moves_both_gains_by_one_figure() -> None:
    level = abs(complex(line_scan((), JOINT, HEAD, np.zeros(1)).specular[0]))
    worn = host_setting(JOINT, HEAD, GAIN, level * 10 ** ((0.5 - 1.7) / 20))
    assert worn.gain_db[Channel.SPECULAR] == pytest.approx(-1.2)
    assert worn.gain_db[Channel.SCATTER] == pytest.approx(-2.2)


@pytest.mark.parametrize(("level_pct", "moved_db"), [(0.01, -3.0), (60.0, 3.0), (0.0, 0.0)])
def test_own_level_moves_the_gain_by_three_decibels_at_most(level_pct: float, moved_db: float) -> None:
    assert host_setting(JOINT, HEAD, GAIN, level_pct).gain_db[Channel.SCATTER] == pytest.approx(
        -0.5 + moved_db
    )


def test_sheets_of_one_thickness_lend_neither_level_nor_phase() -> None:
    setting = host_setting(Joint(1.5, 1.5), HEAD, GAIN, 3.0)
    assert setting.gain_db == GAIN
    phases = draw_phases(setting, N, PITCH, BEAM_MM, np.random.default_rng(1))
    assert np.shape(phases.specular) == (N,)


def test_drawn_phases_cover_the_circle_evenly_and_change_slowly() -> None:
    setting = host_setting(JOINT, HEAD, GAIN, 6.9)
    phases = [
        draw_phases(setting, N, PITCH, BEAM_MM, np.random.default_rng(seed)).scatter for seed in range(80)
    ]
    apart = np.array(phases)[:, ::80].ravel()
    assert kstest(apart, uniform(-np.pi, 2 * np.pi).cdf).pvalue > 0.01
    steps = np.abs(np.angle(np.exp(1j * np.diff(np.array(phases), axis=1))))
    assert np.median(steps) < 0.25


def test_a_bounce_is_one_gain_for_both_channels() -> None:
    sound = recording((), 5)
    bounce = ExpectedFlaw(
        Flaw.SOUND, SoundCause.BOUNCE.value, (), 70.0, 90.0, 20.0, bump=GainBump(80.0, 20.0, 3.0)
    )
    out = implant(sound, AT, (bounce,), setting_of(sound), BEAM_MM, np.random.default_rng(0))
    inside = (AT > 71) & (AT < 89)
    expected = bounce.bump.factor(AT)
    for name in sound:
        assert out[name][inside] == pytest.approx(sound[name][inside] * expected[inside], rel=1e-5)
        assert np.array_equal(out[name][~inside & (expected == 1)], sound[name][~inside & (expected == 1)])


def test_nothing_is_recorded_above_full_screen() -> None:
    loud = {"specular": np.full(N, 20.0, np.float32), "scatter": np.full(N, 1.0, np.float32)}
    through = as_flaw(Slot.even(80.0, 40.0, JOINT.mean_mm, 0.1, Side.BOTTOM))
    setting = host_setting(JOINT, HEAD, {Channel.SPECULAR: 2.0, Channel.SCATTER: 2.0}, 20.0)
    assert (
        implant(loud, AT, (through,), setting, BEAM_MM, np.random.default_rng(0))["specular"].max() == 100.0
    )


def test_further_channels_pass_unchanged() -> None:
    sound = recording((), 6) | {"thermal": np.arange(N, dtype=np.float32)}
    flaw = draw_expected_flaw(Flaw.EDGE_NOTCH, JOINT, np.random.default_rng(1)).placed(80.0)
    out = implant(sound, AT, (flaw,), setting_of(sound), BEAM_MM, np.random.default_rng(0))
    assert out["thermal"] is sound["thermal"]
