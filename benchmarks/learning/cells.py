"""What is trained and asked: one cell is one training of one draw of sections."""

from __future__ import annotations

from dataclasses import dataclass

from learning.physics_rows import PHYSICS

__all__ = ["BANDS", "NOMINAL", "REAL_ONLY", "SECTIONS", "WRONG", "Cell", "Setup", "cells_of"]

REAL_ONLY = "none"
NOMINAL = "nominal"
WRONG = tuple(name for name in PHYSICS if name != NOMINAL)
SECTIONS = (0, 5, 10, 20, 40, 80)
"""Real sections of each class, by the examiner's label."""
BANDS = ("smallest", "middle", "largest")
_FEW, _SOME = 20, 40


@dataclass(frozen=True)
class Cell:
    """One training.

    Parameters
    ----------
    physics : str
        `REAL_ONLY`, or a key of `PHYSICS`.
    sections : int
        Real sections of each class; 0: physics alone.
    draw : int
        Which sections; the draws of one number are nested in those of a larger one and
        the same for every physics.
    band : str
        A third of the sizes of every class that no section had, and that alone is asked.
    recipe : str
        A thickness pair that no section had, and that alone is asked.
    """

    physics: str
    sections: int
    draw: int
    band: str = ""
    recipe: str = ""

    @property
    def left_out(self) -> str:
        """What the sections lacked."""
        return self.band or self.recipe


@dataclass(frozen=True)
class Setup:
    """How large the experiments are.

    Parameters
    ----------
    pool_seams, test_seams : int
        Seams of the shop whose excursions are cut, for drawing sections and for the fixed test.
    physics_per_class : int
        Flaws implanted a class and recipe, before those without an indication are left out.
    simulated_per_class : int
        Rows of each class that a draw takes of them.
    folds : int
        Of the cross-validation in every training.
    """

    seed: int = 2026
    pool_seams: int = 3600
    test_seams: int = 3600
    physics_per_class: int = 130
    simulated_per_class: int = 120
    folds: int = 3


def cells_of(experiment: str, draws: int, recipes: tuple[str, ...]) -> list[Cell]:
    """Cells of experiment ``a`` to ``d``; some belong to two and are trained once."""
    both = (REAL_ONLY, NOMINAL)
    if experiment == "a":
        return [
            Cell(physics, sections, draw)
            for draw in range(draws)
            for sections in SECTIONS
            for physics in both
            if sections or physics != REAL_ONLY
        ]
    if experiment == "b":
        return [Cell(p, n, d, band=b) for d in range(draws) for b in BANDS for p, n in _pairs()]
    if experiment == "c":
        return [Cell(p, n, d, recipe=r) for d in range(draws) for r in recipes for p, n in _pairs()]
    if experiment == "d":
        return [Cell(p, _FEW, d) for d in range(draws) for p in (*both, *WRONG)]
    raise ValueError(f"experiment {experiment!r}, expected a, b, c or d")


def _pairs() -> tuple[tuple[str, int], ...]:
    """Real-only, joined, and physics alone."""
    return (REAL_ONLY, _SOME), (NOMINAL, _SOME), (NOMINAL, 0)
