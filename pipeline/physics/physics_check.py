"""What the physics file says, and where it lies in the theory's range: what ``physics check`` shows."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, dataclass, fields
from math import degrees
from pathlib import Path
from typing import Any

from seamtell.data_synth.expected_flaws import FlawRanges
from seamtell.data_synth.head import Joint
from seamtell.data_synth.theory import THEORY_VERSION
from seamtell.data_synth.validity import RangeNote, describe_head, describe_range
from seamtell.features.contracts import Channel, Flaw
from seamtell.pipeline.physics.blank_theory import beam_width_mm
from seamtell.pipeline.physics.fit_file import fitted_lines
from seamtell.pipeline.physics.physics_file import DEFAULT_HEAD, Physics, read_physics
from seamtell.pipeline.physics.reference_fit import FittedHead, fitted_head
from seamtell.pipeline.workspace import Workspace

__all__ = ["HeadFacts", "PhysicsCheck", "PlacedNote", "check_physics"]


@dataclass(frozen=True)
class HeadFacts:
    """A head as the theory will use it.

    Parameters
    ----------
    cut_off_mm : float
        Sheet from which SH1 travels beside SH0 at this frequency.
    calibration : str
        What the latest fit to the reference blank changed.
    """

    line: str
    frequency_mhz: float
    wavelength_mm: float
    aperture_sd_mm: float
    beam_width_mm: float
    stand_off_mm: float
    tilt_deg: float
    cut_off_mm: float
    calibration: str


@dataclass(frozen=True)
class PlacedNote:
    """A note on the range, and the head or pair of head and recipe that it is about."""

    where: str
    note: RangeNote


@dataclass(frozen=True)
class PhysicsCheck:
    """Everything that ``physics check`` shows."""

    path: Path
    digest: str
    theory_version: str
    heads: tuple[HeadFacts, ...]
    recipes: tuple[tuple[str, Joint], ...]
    expected: tuple[tuple[str, str], ...]
    notes: tuple[PlacedNote, ...]

    def as_document(self) -> dict[str, Any]:
        """Return plain values for ``--json``."""
        return {
            "path": str(self.path),
            "digest": self.digest,
            "theory_version": self.theory_version,
            "heads": [asdict(head) for head in self.heads],
            "recipes": {name: asdict(joint) for name, joint in self.recipes},
            "expected": dict(self.expected),
            "range": [{"where": placed.where, **asdict(placed.note)} for placed in self.notes],
        }


def check_physics(ws: Workspace) -> PhysicsCheck:
    """Read the physics file and the fits of its lines.

    Raises
    ------
    BadInput
        The file is missing or wrong, or a fit belongs to another head.
    """
    physics = read_physics(ws.physics_path)
    lines = sorted(
        {*physics.heads, *_fitted_lines(ws, physics)}, key=lambda line: (line != DEFAULT_HEAD, line)
    )
    heads = {line: fitted_head(ws, physics, line) for line in lines}
    return PhysicsCheck(
        physics.path,
        physics.digest,
        THEORY_VERSION,
        tuple(_facts(line, head) for line, head in heads.items()),
        tuple(sorted(physics.joints.items())),
        tuple(_expected(physics.flaw_ranges)),
        tuple(_notes(physics)),
    )


def _fitted_lines(ws: Workspace, physics: Physics) -> Iterator[str]:
    """Lines with a fit of their own that the default head serves."""
    if DEFAULT_HEAD in physics.heads:
        yield from fitted_lines(ws)


def _facts(line: str, fitted: FittedHead) -> HeadFacts:
    head = fitted.head
    gains = ", ".join(f"{channel.value} {fitted.gain_db[channel]:+.2f} dB" for channel in Channel)
    return HeadFacts(
        line,
        head.frequency_mhz,
        head.material.c_shear_mm_per_us / head.frequency_mhz,
        head.aperture_sd_mm,
        beam_width_mm(head),
        head.stand_off_mm,
        degrees(head.tilt_rad(Channel.SCATTER)),
        head.material.c_shear_mm_per_us / (2 * head.frequency_mhz),
        f"fitted: {gains}" if fitted.fitted else "as stated, never fitted",
    )


def _expected(ranges: FlawRanges) -> Iterator[tuple[str, str]]:
    for flaw in Flaw:
        table = getattr(ranges, flaw.value)
        if table is None:
            yield flaw.value, "not simulated"
            continue
        values = ((one.name, getattr(table, one.name)) for one in fields(table))
        yield flaw.value, "; ".join(f"{name} {_range_text(value)}" for name, value in values)


def _range_text(value: float | tuple[float, float]) -> str:
    return f"{value[0]:g} to {value[1]:g}" if isinstance(value, tuple) else f"{value:g}"


def _notes(physics: Physics) -> Iterator[PlacedNote]:
    for line, head in sorted(physics.heads.items()):
        own = describe_head(head)
        yield from (PlacedNote(line, note) for note in own)
        for recipe, joint in sorted(physics.joints.items()):
            both = describe_range(joint, head)
            yield from (PlacedNote(f"{line}, {recipe}", note) for note in both[len(own) :])
