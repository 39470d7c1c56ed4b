"""A hole or a slot as one part of a coupled system, and what one part sends to another.

A hole hears regular cylindrical waves and sends outgoing ones, orders -8 to 8 of phi and
then of psi. A slot hears the stresses sigma_xy and then sigma_yy on its hats and sends
sliding and then opening jumps. The joint's thickness step stays with the slot's answer,
so that whatever one part sends to another comes back by the same road.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import block_diag

from seamtell.data_synth.arrays import Complex, Floats
from seamtell.data_synth.flaws import Hole, Slot
from seamtell.data_synth.head import Head, Joint
from seamtell.data_synth.scattering.beam import Beam
from seamtell.data_synth.scattering.hole import ORDERS, hole_transition, receiving_signs
from seamtell.data_synth.scattering.inclusion import CylindricalWaves
from seamtell.data_synth.scattering.jump_fields import jump_stresses
from seamtell.data_synth.scattering.slot_springs import slot_springs
from seamtell.data_synth.scattering.translation import outgoing_to_regular

__all__ = ["HolePart", "Part", "SlotPart", "sent"]


@dataclass(frozen=True, eq=False)
class HolePart:
    """A hole at `x_mm`."""

    x_mm: float
    k_per_mm: float
    k_plate_per_mm: float
    answer: Complex

    @classmethod
    def of(cls, hole: Hole, joint: Joint, head: Head) -> HolePart:
        """Work out the hole's T-matrix."""
        blocks = hole_transition(hole, joint, head)
        answer = np.block([[np.diag(blocks[:, row, col]) for col in (0, 1)] for row in (0, 1)])
        return cls(hole.x_mm, head.wavenumber_per_mm(), head.plate_wavenumber_per_mm(), answer)

    @property
    def n_in(self) -> int:
        """How many amplitudes arrive."""
        return 2 * len(ORDERS)

    @property
    def n_out(self) -> int:
        """How many amplitudes leave."""
        return 2 * len(ORDERS)

    def arriving(self, lit: Beam, from_axis_mm: Floats) -> Complex:
        """Incident orders from the beam (which carries no S0), shape (34, n)."""
        orders = lit.orders(self.x_mm - from_axis_mm)
        return np.concatenate([np.zeros_like(orders), orders])

    def heard(self, lit: Beam, from_axis_mm: Floats) -> Complex:
        """Echo for each outgoing order at unit amplitude, shape (34, n)."""
        orders = lit.orders(self.x_mm - from_axis_mm)[::-1]
        weighted = self.k_per_mm * receiving_signs()[:, None] * orders
        return np.concatenate([np.zeros_like(orders), weighted])


@dataclass(frozen=True, eq=False)
class SlotPart:
    """A slot with hats at `x_mm`, shape (m,)."""

    x_mm: Floats
    spacing_mm: float
    k_per_mm: float
    k_plate_per_mm: float
    answer: Complex

    @classmethod
    def of(cls, slot: Slot, joint: Joint, head: Head) -> SlotPart:
        """Solve the slot's springs for unit stress on each hat."""
        springs = slot_springs(slot, joint, head)
        sliding, opening = (
            joint.far_share * springs.spacing_mm * np.linalg.inv(matrix)
            for matrix in (springs.sliding, springs.opening)
        )
        k, k_plate = head.wavenumber_per_mm(), head.plate_wavenumber_per_mm()
        return cls(springs.x_mm, springs.spacing_mm, k, k_plate, block_diag(sliding, opening))

    @property
    def n_in(self) -> int:
        """How many stresses arrive."""
        return 2 * len(self.x_mm)

    @property
    def n_out(self) -> int:
        """How many jumps leave."""
        return 2 * len(self.x_mm)

    @property
    def jump_weight(self) -> complex:
        """Echo of a unit jump of one hat for unit stress there."""
        return 1j * self.spacing_mm / (4 * self.k_per_mm)

    def arriving(self, lit: Beam, from_axis_mm: Floats) -> Complex:
        """Stresses of the beam on the hats, shape (2m, n)."""
        xi = self.x_mm[:, None] - from_axis_mm[None, :]
        return np.concatenate([lit.shear(xi), lit.normal(xi)])

    def heard(self, lit: Beam, from_axis_mm: Floats) -> Complex:
        """Echo for each jump at unit size, shape (2m, n)."""
        return self.jump_weight * self.arriving(lit, from_axis_mm)


Part = HolePart | SlotPart


def sent(by: Part, to: Part) -> Complex:
    """What `to` hears of unit outgoing amplitudes of `by`, shape (to.n_in, by.n_out)."""
    if isinstance(by, HolePart):
        return _hole_to_hole(by, to) if isinstance(to, HolePart) else _hole_to_slot(by, to)
    return _slot_to_hole(by, to) if isinstance(to, HolePart) else _slot_to_slot(by, to)


def _hole_to_hole(by: HolePart, to: HolePart) -> Complex:
    along = to.x_mm - by.x_mm
    return np.asarray(
        block_diag(*(outgoing_to_regular(ORDERS, k, along) for k in (by.k_plate_per_mm, by.k_per_mm)))
    )


def _hole_to_slot(by: HolePart, to: SlotPart) -> Complex:
    """Stresses sigma_xy and sigma_yy of outgoing waves along the seam."""
    along = to.x_mm - by.x_mm
    waves = CylindricalWaves.at(ORDERS, by.k_per_mm, by.k_plate_per_mm, np.abs(along)[:, None], outgoing=True)
    # exp(i n theta) with theta 0 ahead and pi behind; both stresses keep their sign there.
    turned = np.where(along[:, None] < 0, receiving_signs()[None, :], 1.0)
    shear, normal = waves.tractions[:, :, 1, :], waves.hoop
    return np.vstack([np.hstack([s[:, :, part] * turned for part in (0, 1)]) for s in (shear, normal)])


def _slot_to_hole(by: SlotPart, to: HolePart) -> Complex:
    """Regular waves that jumps send, by reciprocity from the stresses that the hole sends.

    Whichever of the two is sender, the other hears it with the same strength:
    k (-1)^n a_{-n} of a unit jump is the jump's weight times the stress of a unit order n.
    """
    stresses = _hole_to_slot(to, by)
    swapped = np.concatenate(
        [stresses[:, : len(ORDERS)][:, ::-1], stresses[:, len(ORDERS) :][:, ::-1]], axis=1
    )
    signs = np.tile(receiving_signs(), 2)[:, None]
    return np.asarray(by.jump_weight / by.k_per_mm * signs * swapped.T)


def _slot_to_slot(by: SlotPart, to: SlotPart) -> Complex:
    lags = to.x_mm[:, None] - by.x_mm[None, :]
    sliding, opening = jump_stresses(by.k_per_mm, by.k_plate_per_mm, lags)
    return np.asarray(by.spacing_mm * block_diag(sliding, opening))
