import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.linalg import block_diag
from scipy.special import jv

from seamtell.data_synth.flaws import Hole, Slot
from seamtell.data_synth.head import Head, Joint
from seamtell.data_synth.scattering.coupled_parts import HolePart, SlotPart, sent
from seamtell.data_synth.scattering.coupling import coupled_echoes, grouped
from seamtell.data_synth.scattering.hole import ORDERS, hole_echo
from seamtell.data_synth.scattering.inclusion import CylindricalWaves
from seamtell.data_synth.scattering.jump_fields import jump_stresses
from seamtell.data_synth.scattering.slot import slot_echo
from seamtell.features.contracts import Channel, Side

HEAD, JOINT = Head(), Joint(1.5, 1.3)
K, K_PLATE = HEAD.wavenumber_per_mm(), HEAD.plate_wavenumber_per_mm()
AT = np.arange(-20.0, 20.5, 0.5)
NOTCH = Slot.even(6.0, 5.0, 0.63, 0.3, Side.TOP)


def alone(flaw, channel: Channel):  # type: ignore[no-untyped-def]
    echo = hole_echo if isinstance(flaw, Hole) else slot_echo
    return echo(flaw, JOINT, HEAD, channel, AT)


def whole_answer(*parts):  # type: ignore[no-untyped-def]
    """From what arrives to what leaves, of all parts together."""
    answer = block_diag(*(part.answer for part in parts))
    exchange = np.block(
        [[sent(by, to) if by is not to else np.zeros((to.n_in, by.n_out)) for by in parts] for to in parts]
    )
    return np.linalg.solve(np.eye(len(answer)) - answer @ exchange, answer)


@pytest.mark.parametrize("channel", list(Channel))
@pytest.mark.parametrize("flaw", [Hole(1.0, 0.8), Hole(1.0, 0.8, Side.TOP, 0.5), NOTCH], ids=repr)
def test_one_flaw_echoes_as_it_does_alone(flaw, channel: Channel) -> None:  # type: ignore[no-untyped-def]
    got = coupled_echoes([flaw], JOINT, HEAD, AT)[channel]
    assert np.abs(got - alone(flaw, channel)).max() < 1e-9 * np.abs(got).max()


@pytest.mark.parametrize("other", [Hole(2000.0, 0.8), Slot.even(2000.0, 5.0, 0.63, 0.3, Side.TOP)])
def test_flaws_far_apart_simply_add(other) -> None:  # type: ignore[no-untyped-def]
    hole = Hole(0.0, 0.8)
    got = coupled_echoes([hole, other], JOINT, HEAD, AT)[Channel.SCATTER]
    expected = alone(hole, Channel.SCATTER)
    assert np.abs(got - expected).max() < 2e-3 * np.abs(expected).max()


def test_flaws_beyond_the_reach_change_each_other_by_a_few_per_cent_at_most() -> None:
    for pair in ((Hole(-10.5, 0.9), Hole(10.5, 0.9)), (Hole(-18.0, 0.9), NOTCH)):
        got = coupled_echoes(pair, JOINT, HEAD, AT)
        for channel in Channel:
            plain = sum(alone(flaw, channel) for flaw in pair)
            assert np.abs(got[channel] - plain).max() < 0.03 * np.abs(plain).max()


@settings(max_examples=15, deadline=None)
@given(st.floats(0.3, 1.5), st.floats(0.3, 1.5), st.floats(2.0, 15.0), st.floats(-1.4, 1.4))
def test_pair_of_holes_sends_out_what_it_takes_from_a_wave(
    one_mm: float, other_mm: float, apart_mm: float, angle: float
) -> None:
    # Optical theorem over SH0 and S0. The power of waves from two centres holds the cross terms
    # J_{n-m}(kR), again by Graf's theorem.
    parts = [HolePart.of(Hole(x, d), JOINT, HEAD) for x, d in ((0.0, one_mm), (apart_mm, other_mm))]
    plane = [np.exp(1j * ORDERS * angle + 1j * K * np.sin(angle) * part.x_mm) for part in parts]
    incoming = np.concatenate([np.concatenate([np.zeros(17), wave]) for wave in plane])
    out = whole_answer(*parts) @ incoming
    change = ORDERS[None, :] - ORDERS[:, None]
    cross = block_diag(*(jv(change, k * apart_mm) * (-1.0) ** change for k in (K_PLATE, K)))
    power = np.vdot(out, np.block([[np.eye(34), cross], [cross.T, np.eye(34)]]) @ out).real
    assert -np.vdot(incoming, out).real == pytest.approx(power, rel=1e-6)


@pytest.mark.parametrize(
    "pair",
    [
        (Hole(-3.0, 0.8), Hole(3.0, 1.2)),
        (Hole(-3.0, 0.8), NOTCH),
        (Slot.even(-2.0, 3.0, 0.5, 0.1, Side.TOP), NOTCH),
        (Hole(-3.0, 0.8, Side.TOP, 0.6), NOTCH),
    ],
    ids=["hole hole", "hole slot", "slot slot", "pore slot"],
)
def test_sender_and_receiver_may_swap(pair) -> None:  # type: ignore[no-untyped-def]
    # Reciprocity: with sender and receiver exchanged the echo is the same.
    parts = [
        HolePart.of(f, JOINT, HEAD) if isinstance(f, Hole) else SlotPart.of(f, JOINT, HEAD) for f in pair
    ]
    answer = whole_answer(*parts)
    rng = np.random.default_rng(4)
    one, other = ([_random_field(part, rng) for part in parts] for _ in range(2))
    there = np.concatenate([f[1] for f in other]) @ answer @ np.concatenate([f[0] for f in one])
    back = np.concatenate([f[1] for f in one]) @ answer @ np.concatenate([f[0] for f in other])
    assert abs(there - back) < 1e-8 * abs(there)


def _random_field(part, rng):  # type: ignore[no-untyped-def]
    """A field as it arrives at a part, and the same field as it hears what leaves."""
    field = rng.standard_normal(part.n_in) + 1j * rng.standard_normal(part.n_in)
    if isinstance(part, SlotPart):
        return field, part.jump_weight * field
    signs = np.where(ORDERS % 2, -1.0, 1.0)
    heard = part.k_per_mm * np.concatenate([signs * field[:17][::-1], signs * field[17:][::-1]])
    return field, heard


def test_waves_that_a_slot_sends_to_a_hole_carry_the_stress_of_its_jumps() -> None:
    # Independent of reciprocity: the kernel of the jumps, read beside the hole's centre.
    hole, slot = HolePart.of(Hole(0.0, 0.5), JOINT, HEAD), SlotPart.of(NOTCH, JOINT, HEAD)
    regular = sent(slot, hole)
    n = len(slot.x_mm)
    for x, turned in ((0.25, np.ones(17)), (-0.25, np.where(ORDERS % 2, -1.0, 1.0))):
        waves = CylindricalWaves.at(ORDERS, K, K_PLATE, abs(x), outgoing=False)
        shear = np.concatenate([waves.tractions[:, 1, part] * turned for part in (0, 1)]) @ regular
        normal = np.concatenate([waves.hoop[:, part] * turned for part in (0, 1)]) @ regular
        sliding, opening = (slot.spacing_mm * s for s in jump_stresses(K, K_PLATE, slot.x_mm - x))
        assert np.abs(shear[:n] - sliding).max() < 1e-5 * np.abs(sliding).max()
        assert np.abs(normal[n:] - opening).max() < 1e-5 * np.abs(opening).max()
        assert max(np.abs(shear[n:]).max(), np.abs(normal[:n]).max()) < 1e-12


def test_flaws_close_together_form_a_group_and_overlapping_ones_do_not() -> None:
    inside = Hole(6.0, 0.5)
    assert [len(g) for g in grouped([Hole(0.0, 1.0), NOTCH, Hole(60.0, 1.0)])] == [2, 1]
    assert [len(g) for g in grouped([NOTCH, inside])] == [1, 1]


def test_touching_holes_hear_each_other_but_nothing_stands_on_the_end_of_a_slot() -> None:
    assert len(grouped([Hole(0.0, 1.0), Hole(1.05, 1.0)])) == 1
    assert len(grouped([Hole(2.9, 1.0), NOTCH])) == 2


@pytest.mark.parametrize("gap_mm", [0.51, 0.8, 1.5])
def test_narrow_gap_leaves_the_echo_of_the_order_of_the_sum(gap_mm: float) -> None:
    pair = (Hole(3.0 - gap_mm, 1.0), NOTCH)
    got = coupled_echoes(pair, JOINT, HEAD, AT)[Channel.SPECULAR]
    plain = sum(alone(flaw, Channel.SPECULAR) for flaw in pair)
    assert 0.8 < np.abs(got).max() / np.abs(plain).max() < 1.2
