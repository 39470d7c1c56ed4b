"""A slot through an even sheet is a free edge and two crack ends; both have exact answers."""

from __future__ import annotations

import numpy as np
import pytest

from seamtell.data_synth.flaws import Slot
from seamtell.data_synth.head import Head, Joint
from seamtell.data_synth.scattering.beam import free_edge_echo
from seamtell.data_synth.scattering.slot import TIP_EXTENSION_MM, slot_echo
from seamtell.features.contracts import Channel, Side

from .free_edge_by_conditions import free_edge_by_conditions
from .half_plane_crack import half_plane_jump
from .hankel_beam import HankelBeam

EVEN = Joint(1.5, 1.5)
HEADS = [Head(), Head(frequency_mhz=0.8, aperture_sd_mm=3.5, stand_off_mm=20.0, scatter_tilt_sin=0.3)]
AT_MM = np.array([0.0, 3.0])


def through_slot(length_mm: float, width_mm: float) -> Slot:
    return Slot.even(0.0, length_mm, EVEN.mean_mm, width_mm, Side.THROUGH)


@pytest.mark.parametrize("head", HEADS)
@pytest.mark.parametrize("width_mm", [0.01, 0.1])
def test_middle_of_a_long_slot_through_the_sheet_echoes_like_a_free_edge(head: Head, width_mm: float) -> None:
    # A wide cut is an edge, half its width nearer: 100 % exp(-ikw), sending and receiving alike.
    echo = slot_echo(through_slot(80.0, width_mm), EVEN, head, Channel.SPECULAR, AT_MM)
    nearer = np.exp(-1j * head.wavenumber_per_mm() * width_mm)
    # a tenth of a millimetre in waves of 4 to 5 mm: the removed mass is of first order in kw
    assert (
        np.abs(echo / free_edge_echo(head) - nearer).max() < 1e-3 + 0.1 * head.wavenumber_per_mm() * width_mm
    )


@pytest.mark.parametrize("head", HEADS)
def test_middle_of_a_long_slot_echoes_like_a_free_edge_in_a_tilted_beam(head: Head) -> None:
    # A straight edge reflects away from the tilted head; what little of the beam looks the other way comes
    # back (0.4 and 7 % of the untilted echo for these two heads). The ends add some parts in a thousand.
    echo = slot_echo(through_slot(80.0, 0.005), EVEN, head, Channel.SCATTER, AT_MM)
    exact = free_edge_by_conditions(head, head.scatter_tilt_sin)
    assert np.abs(echo - exact).max() < 0.006 * abs(free_edge_echo(head))


def sharp_end_echo(head: Head, end_mm: float) -> complex:
    """Echo of a half-plane crack from `end_mm` on, for a straight beam far wider than a wave.

    The exact jump of a plane wave at normal incidence, weighted with the beam's own stress.
    """
    k = head.wavenumber_per_mm()
    lit = HankelBeam(k, head.aperture_sd_mm, head.stand_off_mm, 0.0)
    x = np.arange(0.05, 45.0, 0.1)
    stress = lit.stresses(end_mm + x)[0]
    jump, _ = half_plane_jump("sliding", k, head.plate_wavenumber_per_mm(), x)
    return complex(1j / (4 * k) * 0.1 * np.sum(stress**2 * jump))


def test_end_of_a_long_slot_echoes_like_the_half_plane_in_a_wide_beam() -> None:
    # Maue's half plane again, now through the whole chain from beam to echo; the beam is made wide,
    # so that its plane part is all that matters, and looks at the very end.
    head = Head(aperture_sd_mm=12.0)
    slot = through_slot(120.0, 0.005)
    end = 60.0 + TIP_EXTENSION_MM
    echo = slot_echo(slot, EVEN, head, Channel.SPECULAR, np.array([end]))[0]
    assert echo == pytest.approx(sharp_end_echo(head, 0.0), rel=0.02)
