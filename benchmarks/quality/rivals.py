"""Tune the rivals on the pilot shop, train them on every draw, answer the test, and time them.

Runs in the environment of ``requirements.txt``: ``python benchmarks/quality/rivals.py SCRATCH DRAWS``.
Every finished step is a file in SCRATCH; what is there is not done again.
"""

from __future__ import annotations

import json
import sys
import warnings
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parents[1]))

from quality.minirocket import fit_minirocket
from quality.rival_features import catch22_rows, fastest_us, tsfel_rows
from quality.rival_trees import TREES, fit_trees
from quality.splits import CLASSES, first_of_each
from quality.views import Shown, Stretch, Unit, View, facts, read_shown

__all__ = ["FEATURE_LIBRARIES", "MINIROCKET", "Choice", "main"]

MINIROCKET = "minirocket"
_PILOT_PER_CLASS = 100
_TIMED = 64

FeatureRows = Callable[[Shown, View], NDArray[np.float64]]


FEATURE_LIBRARIES: Mapping[str, FeatureRows] = {"catch22": catch22_rows, "tsfel": tsfel_rows}


@dataclass(frozen=True)
class Choice:
    """What the pilot chose for one method, with the macro-F1 that it had there."""

    view: View
    trees: str
    pilot_f1: float

    def to_json(self) -> dict[str, Any]:
        """As plain values."""
        view = self.view
        shown = {"stretch": view.stretch.value, "unit": view.unit.value, "with_facts": view.with_facts}
        return {**shown, "trees": self.trees, "pilot_f1": self.pilot_f1}

    @classmethod
    def from_json(cls, known: Mapping[str, Any]) -> Choice:
        """Read what `to_json` gave."""
        view = View(Stretch(known["stretch"]), Unit(known["unit"]), known["with_facts"])
        return cls(view, known["trees"], known["pilot_f1"])


class Rivals:
    """All steps, each kept in a file of `folder`."""

    def __init__(self, folder: Path, draws: int, sizes: tuple[int, ...]) -> None:
        self.folder, self.draws, self.sizes = folder, draws, sizes

    def run(self) -> None:
        """Do what is not done yet."""
        for method in (MINIROCKET, *FEATURE_LIBRARIES):
            for with_facts in (False, True):
                name = method + ("_facts" if with_facts else "")
                choice = self._choice(method, name, with_facts)
                print(name, choice.view, choice.trees, round(choice.pilot_f1, 3), flush=True)
                self._answer(method, name, choice)
                self._time(method, name, choice)

    def _choice(self, method: str, name: str, with_facts: bool) -> Choice:
        path = self.folder / f"choice-{name}.json"
        if path.exists():
            return Choice.from_json(json.loads(path.read_text("utf-8")))
        pilot = read_shown(self.folder / "pilot.npz")
        learn = first_of_each(pilot.written, _PILOT_PER_CLASS)
        check = first_of_each(pilot.written, _PILOT_PER_CLASS, _PILOT_PER_CLASS)
        tried = []
        for view, trees in _options(method, with_facts):
            if method == MINIROCKET:
                found = fit_minirocket(pilot.take(learn), view, 1).predict(pilot.take(check))
            else:
                rows = self._features(method, "pilot", pilot, view)
                found = fit_trees(rows[learn], pilot.written[learn], trees, 1).predict(rows[check])
            tried.append(Choice(view, trees, _macro_f1(found, pilot.written[check])))
        best = max(tried, key=lambda one: one.pilot_f1)
        _write_json(path, best.to_json() | {"tried": [one.to_json() for one in tried]})
        return best

    def _features(self, method: str, shop: str, shown: Shown, view: View) -> NDArray[np.float64]:
        path = self.folder / f"features-{method}-{view.stretch.name}-{view.unit.name}-{shop}.npy"
        if not path.exists():
            half = path.with_suffix(".half.npy")
            np.save(half, FEATURE_LIBRARIES[method](shown, replace(view, with_facts=False)))
            half.replace(path)
        rows = np.asarray(np.load(path))
        return np.concatenate([rows, facts(shown)], axis=1) if view.with_facts else rows

    def _answer(self, method: str, name: str, choice: Choice) -> None:
        test = read_shown(self.folder / "test.npz")
        for draw in range(self.draws):
            paths = {size: self.folder / f"answers-{name}-{draw}-{size}.npy" for size in self.sizes}
            if all(path.exists() for path in paths.values()):
                continue
            shown = read_shown(self.folder / f"draw{draw}.npz")
            for size, path in paths.items():
                learn = first_of_each(shown.written, size)
                if method == MINIROCKET:
                    found = fit_minirocket(shown.take(learn), choice.view, draw).predict(test)
                else:
                    rows = self._features(method, f"draw{draw}", shown, choice.view)
                    model = fit_trees(rows[learn], shown.written[learn], choice.trees, draw)
                    found = model.predict(self._features(method, "test", test, choice.view))
                np.save(path, found)
            print(name, "draw", draw, flush=True)

    def _time(self, method: str, name: str, choice: Choice) -> None:
        path = self.folder / f"cost-{name}.json"
        if path.exists():
            return
        shown = read_shown(self.folder / "draw0.npz")
        learn = shown.take(first_of_each(shown.written, max(self.sizes)))
        some = shown.take(np.arange(0, len(shown.written), len(shown.written) // _TIMED))
        n = len(some.written)
        if method == MINIROCKET:
            model = fit_minirocket(learn, choice.view, 0)
            cost = {"all_us": fastest_us(lambda: model.predict(some), n)}
        else:
            features = FEATURE_LIBRARIES[method]
            rows = self._features(method, "draw0", shown, choice.view)
            trees = fit_trees(rows, shown.written, choice.trees, 0)
            few = np.tile(rows[:n], (16, 1))
            cost = {
                "features_us": fastest_us(lambda: features(some, choice.view), n),
                "model_us": fastest_us(lambda: trees.predict_proba(few, num_threads=1), len(few)),
            }
        _write_json(path, cost)


def _options(method: str, with_facts: bool) -> list[tuple[View, str]]:
    units = tuple(Unit) if method == MINIROCKET else (Unit.SCALED, Unit.RAW)
    views = [View(stretch, unit, with_facts) for stretch in Stretch for unit in units]
    return [(view, trees) for view in views for trees in (("",) if method == MINIROCKET else TREES)]


def _macro_f1(found: NDArray[np.int64], codes: NDArray[np.int64]) -> float:
    hits = [((found == c) & (codes == c)).sum() for c in range(CLASSES)]
    both = [(found == c).sum() + (codes == c).sum() for c in range(CLASSES)]
    return float(np.mean([2 * h / b for h, b in zip(hits, both, strict=True)]))


def _write_json(path: Path, what: object) -> None:
    half = path.with_suffix(".half")
    half.write_text(json.dumps(what, indent=1) + "\n", encoding="utf-8")
    half.replace(path)


def main() -> None:
    """Run for the folder, the number of draws and the sizes on the command line."""
    folder, draws, *sizes = sys.argv[1:]
    # Names of columns are not needed by trees, and short series make features that do not exist.
    warnings.simplefilter("ignore")
    Rivals(Path(folder), int(draws), tuple(map(int, sizes))).run()


if __name__ == "__main__":
    main()
