import ast
from dataclasses import fields
from pathlib import Path

import numpy as np

from seamtell.data_synth.expected_nuisances import draw_expected_nuisances
from seamtell.data_synth.nuisance_kinds import NuisanceSet
from seamtell.data_synth.nuisances import Nuisances
from seamtell.data_synth.trial_shop import trial_shop_plan

FOLDER = Path(__file__).parents[2] / "data_synth"
EXPECTED = {"expected_flaws", "expected_ranges", "expected_nuisances"}
SHOPS = {"flaw_sizes", "shop_plan", "nuisances", "trial_shop", "seam_plan", "shop", "cutting"}


def imported(module: str) -> set[str]:
    """Own modules that a module imports, also through others."""
    seen: set[str] = set()
    waiting = [module]
    while waiting:
        tree = ast.parse((FOLDER / f"{waiting.pop()}.py").read_text(encoding="utf-8"))
        for node in ast.walk(tree):
            if (
                isinstance(node, ast.ImportFrom)
                and node.module
                and node.module.startswith("seamtell.data_synth")
            ):
                rest = node.module.removeprefix("seamtell.data_synth").removeprefix(".")
                names = [rest.replace(".", "/")] if rest else [alias.name for alias in node.names]
                new = {name for name in names if (FOLDER / f"{name}.py").is_file()} - seen
                seen |= new
                waiting += new
    return seen


def values(nuisances: NuisanceSet) -> dict[tuple[str, str], object]:
    found = {}
    for one in fields(nuisances):
        kind = getattr(nuisances, one.name)
        if kind is not None:
            found |= {(one.name, number.name): getattr(kind, number.name) for number in fields(kind)}
    return found


def test_what_is_expected_and_what_the_shops_are_do_not_know_each_other() -> None:
    for module in EXPECTED:
        assert not imported(module) & SHOPS
    for module in SHOPS:
        assert not imported(module) & EXPECTED


def test_demo_shop_trial_shop_and_expectation_share_no_magnitude() -> None:
    expected = values(draw_expected_nuisances(np.random.default_rng(1)))
    demo, trial = values(Nuisances()), values(trial_shop_plan().nuisances)
    full_screen = ("clipping", "full_scale_pct")
    for one, other in ((expected, demo), (expected, trial), (demo, trial)):
        same = {key for key in one.keys() & other.keys() if one[key] == other[key]}
        assert same <= {full_screen}


def test_each_seam_is_calm_or_noisy_in_its_own_way() -> None:
    rng = np.random.default_rng(3)
    levels = {draw_expected_nuisances(rng).electronic_noise.scatter_pct for _ in range(20)}
    assert len(levels) == 20
