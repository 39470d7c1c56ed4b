"""Echo of a round hole or blind pore, alone in the seam.

Its axis is normal to the sheet. The thickness step is left out: the hole is taken to
sit in one even sheet of the mean thickness.
"""

from __future__ import annotations

import numpy as np

from seamtell.data_synth.arrays import Complex, Floats
from seamtell.data_synth.flaws import Hole
from seamtell.data_synth.head import Head, Joint
from seamtell.data_synth.scattering.beam import HOLE_ORDERS, beam
from seamtell.data_synth.scattering.blind_pore import blind_pore_transition
from seamtell.data_synth.scattering.inclusion import inclusion_transition
from seamtell.features.contracts import Channel, Side

__all__ = ["ORDERS", "hole_echo", "hole_transition", "receiving_signs"]

ORDERS = np.arange(-HOLE_ORDERS, HOLE_ORDERS + 1)
"""Angular orders of a hole, -8 to 8."""

_THROUGH_SHARE = 0.99


def hole_transition(hole: Hole, joint: Joint, head: Head) -> Complex:
    """T-matrix of a hole or pore, shape (17, 2, 2): order, outgoing and incoming (phi, psi)."""
    medium = (ORDERS, head.wavenumber_per_mm(), head.plate_wavenumber_per_mm(), hole.diameter_mm)
    share = 1.0 if hole.side is Side.THROUGH else hole.depth_mm / joint.mean_mm
    if share >= _THROUGH_SHARE:
        return inclusion_transition(*medium, 0.0)
    return blind_pore_transition(*medium, share, joint.mean_mm)


def receiving_signs() -> Floats:
    """(-1)^n of the orders -8 to 8: an outgoing order n is received as the incoming order -n."""
    return np.where(ORDERS % 2, -1.0, 1.0)


def hole_echo(hole: Hole, joint: Joint, head: Head, channel: Channel, positions_mm: Floats) -> Complex:
    """Echo of a hole at every scan position, shape (n,), unscaled."""
    weights = receiving_signs() * hole_transition(hole, joint, head)[:, 1, 1]
    xi = hole.x_mm - (positions_mm - head.axis_offset_mm(channel))
    return head.wavenumber_per_mm() * beam(head, channel).paired_orders(weights, xi)
