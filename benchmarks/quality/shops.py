"""Which shops are invented: one for the test, one to tune rivals on, one a draw of training sections."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from quality.sections import Sections, joined, load, save, shop_sections
from quality.splits import first_of_each
from seamtell.data_synth.shop_plan import ShopPlan

__all__ = ["PILOT", "SIZES", "TEST", "Setup", "draw_name", "prepare", "stored"]

TEST, PILOT = "test", "pilot"
SIZES = (20, 50, 100, 400)
"""Training sections of each class, by the examiner's label."""
_PARTS = 6


@dataclass(frozen=True)
class Setup:
    """How large the comparison is.

    Parameters
    ----------
    draws : int
        Training sets of each size; every draw is cut from a shop of its own seed.
    seams, test_seams : int
        Seams of each shop: enough for 400 sections of the rarest class, and for as many as are tested.
    test_per_class : int
        Examined sections of each class, by what truly is there; the same for every size and method. The
        intervals are mostly those of the test: with 400 they were as wide as the methods are apart.
    """

    seed: int = 7100
    draws: int = 10
    seams: int = 6000
    test_seams: int = 17000
    pilot_seams: int = 3000
    test_per_class: int = 1000

    def shops(self) -> dict[str, tuple[int, int]]:
        """Name to seed and seams, in the order in which they are wanted."""
        named = {TEST: (self.seed, self.test_seams), PILOT: (self.seed + 1, self.pilot_seams)}
        return named | {draw_name(d): (self.seed + 2 + d, self.seams) for d in range(self.draws)}


def draw_name(draw: int) -> str:
    return f"draw{draw}"


def prepare(setup: Setup, folder: Path, told: Callable[[str], None]) -> None:
    """Invent what is not there yet, in parts, so that a killed run loses a few minutes at most."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, (seed, seams) in setup.shops().items():
        if _path(folder, name).exists():
            continue
        parts = []
        for part in range(_PARTS):
            path = folder / f"{name}-{part}.npz"
            if not path.exists():
                save(path, shop_sections(ShopPlan(), seed, seams, part, _PARTS))
                told(f"{name}: part {part + 1} of {_PARTS}")
            parts.append(load(path))
        save(_path(folder, name), _picked(joined(parts), name, setup))
        for part in range(_PARTS):
            (folder / f"{name}-{part}.npz").unlink()


def stored(folder: Path, name: str) -> Sections:
    """Sections that `prepare` left, in a random order of their own."""
    return load(_path(folder, name))


def _picked(sections: Sections, name: str, setup: Setup) -> Sections:
    """Shuffle, and keep no more than any size needs; the test is balanced by what truly is there."""
    seed, _ = setup.shops()[name]
    shuffled = sections.take(np.random.default_rng((seed, 1)).permutation(len(sections)))
    by, most = (shuffled.hidden, setup.test_per_class) if name == TEST else (shuffled.written, max(SIZES))
    return shuffled.take(first_of_each(by, most))


def _path(folder: Path, name: str) -> Path:
    return folder / f"{name}.npz"
