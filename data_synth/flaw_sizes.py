"""Sizes of the invented shop's flaws: wide distributions that overlap between classes.

All magnitudes are invented. They put flaws on the borders on purpose: notches as long
as short lacks of fusion, notches as small as pores, even and shallow lacks of fusion as
long as a mismatch.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp

import numpy as np

from seamtell.data_synth.flaws import FlawGeometry, Hole, Mismatch, RoughJoint, Slot, moved
from seamtell.data_synth.head import Joint
from seamtell.data_synth.nuisance_kinds import Spatter
from seamtell.features.contracts import Flaw, Side

__all__ = ["HiddenFlaw", "draw_flaw", "draw_spatter"]


@dataclass(frozen=True)
class HiddenFlaw:
    """What truly sits in a seam; `label` is ``sound`` for what only looks like a flaw.

    Parameters
    ----------
    cause : str
        The class, or what the false indication comes from.
    geometry : tuple of FlawGeometry
        Empty for what is no echo of the joint (a bounce, a rough stretch).
    """

    label: Flaw
    cause: str
    start_mm: float
    end_mm: float
    side: Side
    depth_mm: float
    width_mm: float
    geometry: tuple[FlawGeometry, ...] = ()

    @property
    def length_mm(self) -> float:
        """Length along the seam."""
        return self.end_mm - self.start_mm

    def placed(self, by_mm: float) -> HiddenFlaw:
        """Return the same flaw `by_mm` farther along the seam."""
        parts = tuple(moved(part, by_mm) for part in self.geometry)
        return HiddenFlaw(
            self.label,
            self.cause,
            self.start_mm + by_mm,
            self.end_mm + by_mm,
            self.side,
            self.depth_mm,
            self.width_mm,
            parts,
        )


def draw_flaw(label: Flaw, joint: Joint, rng: np.random.Generator) -> HiddenFlaw:
    """Draw one flaw of a class, centred at 0 mm."""
    draw = {
        Flaw.PINHOLE: _pinhole,
        Flaw.EDGE_NOTCH: _edge_notch,
        Flaw.LACK_OF_FUSION: _lack_of_fusion,
        Flaw.MISMATCH: _mismatch,
    }[label]
    return draw(joint, rng)


def draw_spatter(spatter: Spatter, rng: np.random.Generator) -> HiddenFlaw:
    """Draw one droplet, centred at 0 mm."""
    length, height = rng.uniform(*spatter.length_mm), rng.uniform(*spatter.height_mm)
    across = rng.uniform(*spatter.across_mm)
    n = 12
    dome = np.sqrt(1 - ((np.arange(n) + 0.5) / n * 2 - 1) ** 2)
    lump = RoughJoint(-length / 2, length / n, tuple(float(h) for h in height * dome), across)
    return HiddenFlaw(Flaw.SOUND, "spatter", -length / 2, length / 2, Side.TOP, 0.0, across, (lump,))


def _lognormal(rng: np.random.Generator, median: float, spread: float, low: float, high: float) -> float:
    return float(np.clip(median * exp(spread * rng.standard_normal()), low, high))


def _side(rng: np.random.Generator, top_share: float) -> Side:
    return Side.TOP if rng.random() < top_share else Side.BOTTOM


def _pinhole(joint: Joint, rng: np.random.Generator) -> HiddenFlaw:
    """Draw a through hole, a blind pore (one in three), or a pair of either (one in eight)."""
    first = _one_hole(joint, rng, 0.0)
    parts = [first]
    if rng.random() < 0.12:
        parts.append(_one_hole(joint, rng, rng.uniform(2.5, 9.0)))
    start, end = parts[0].extent_mm[0], parts[-1].extent_mm[1]
    depth = joint.mean_mm if first.side is Side.THROUGH else first.depth_mm
    flaw = HiddenFlaw(Flaw.PINHOLE, "pinhole", start, end, first.side, depth, first.diameter_mm, tuple(parts))
    return flaw.placed(-(start + end) / 2)


def _one_hole(joint: Joint, rng: np.random.Generator, x_mm: float) -> Hole:
    if rng.random() < 0.35:
        diameter = _lognormal(rng, 0.95, 0.35, 0.4, 2.0)
        return Hole(x_mm, diameter, _side(rng, 0.7), rng.uniform(0.35, 0.9) * joint.mean_mm)
    return Hole(x_mm, _lognormal(rng, 0.75, 0.42, 0.25, 2.0))


def _edge_notch(joint: Joint, rng: np.random.Generator) -> HiddenFlaw:
    """Draw a short slot from one edge, its ends more or less rounded."""
    length = _lognormal(rng, 4.2, 0.42, 2.0, 10.0)
    depth = (0.12 + 0.63 * rng.beta(1.8, 2.2)) * joint.mean_mm
    width = _lognormal(rng, 0.25, 0.4, 0.1, 0.6)
    ends, flat = rng.uniform(0.3, 1.0), rng.uniform(0.4, 0.95)
    half = length / 2
    points = ((-half, ends * depth), (-flat * half, depth), (flat * half, depth), (half, ends * depth))
    side = _side(rng, 0.55)
    slot = Slot(0.0, points, width, side)
    return HiddenFlaw(Flaw.EDGE_NOTCH, "edge_notch", -half, half, side, depth, width, (slot,))


def _lack_of_fusion(joint: Joint, rng: np.random.Generator) -> HiddenFlaw:
    """Draw an unfused stretch, from even to ragged, part of the depth or all of it."""
    length = _lognormal(rng, 16.0, 0.65, 5.0, 80.0)
    full = rng.random() < 0.2
    share = 1.0 if full else 0.15 + 0.8 * rng.beta(1.7, 1.7)
    ragged = _lognormal(rng, 0.08, 0.8, 0.01, 0.3)
    n = max(int(length / 2.5), 3)
    offsets = np.linspace(-length / 2, length / 2, n + 1)
    taper = rng.normal(0, 0.12) * offsets / length
    depth = np.clip(share * (1 + ragged * rng.standard_normal(n + 1) + taper), 0.08, 1.0)
    depth[[0, -1]] *= rng.uniform(0.4, 1.0, size=2)
    width = _lognormal(rng, 0.08, 0.4, 0.03, 0.3)
    side = _side(rng, 0.15)
    points = tuple((float(x), float(d * joint.mean_mm)) for x, d in zip(offsets, depth, strict=True))
    slot = Slot(0.0, points, width, side)
    shown = Side.THROUGH if depth.max() >= 0.999 else side
    deepest = float(depth.max() * joint.mean_mm)
    return HiddenFlaw(
        Flaw.LACK_OF_FUSION, "lack_of_fusion", -length / 2, length / 2, shown, deepest, width, (slot,)
    )


def _mismatch(joint: Joint, rng: np.random.Generator) -> HiddenFlaw:
    """Draw an offset of the sheets, its ends abrupt to gentle."""
    length = _lognormal(rng, 38.0, 0.75, 10.0, 200.0)
    shift = _lognormal(rng, 0.18, 0.45, 0.05, 0.35 * joint.sheet_b_mm)
    if rng.random() < 0.4:
        shift = -shift
    ramp = min(_lognormal(rng, 4.0, 0.6, 1.0, 15.0), length)
    part = Mismatch(0.0, shift, length, ramp)
    return HiddenFlaw(Flaw.MISMATCH, "mismatch", -length / 2, length / 2, Side.NA, abs(shift), 0.0, (part,))
