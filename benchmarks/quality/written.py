"""The comparison as ``results.json`` and ``results.md``."""

from __future__ import annotations

import json
import platform
import textwrap
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from quality.ours import AS_CHOSEN, CANDIDATES, OurCost, TreeFigure
from quality.scores import Interval, f1_by_class, interval, resampled
from quality.sections import LABELS
from quality.shops import SIZES, TEST, Setup, stored

__all__ = ["METHODS", "RIVALS", "Written", "gather", "write"]

METHODS: Mapping[str, str] = {
    AS_CHOSEN: "our descriptors, model as training chooses",
    "lightgbm": "our descriptors, LightGBM",
    "logistic": "our descriptors, logistic",
    "minirocket": "MiniRocket + ridge",
    "minirocket_facts": "MiniRocket + ridge, height and extent given",
    "catch22": "catch22 + LightGBM",
    "catch22_facts": "catch22 + LightGBM, height and extent given",
    "tsfel": "TSFEL + LightGBM",
    "tsfel_facts": "TSFEL + LightGBM, height and extent given",
}
_OURS = (AS_CHOSEN, *CANDIDATES)
RIVALS = tuple(name for name in METHODS if name not in _OURS)


@dataclass(frozen=True)
class Written:
    """Everything that the tables say.

    Parameters
    ----------
    macro_f1 : mapping of int to mapping of str to Interval
        By size and method, against what truly is there.
    ahead : mapping of int to mapping of str to Interval
        How far ours is ahead of each rival, on the same resamples.
    f1_of_classes : mapping of int to mapping of str to tuple of float
        By size and method, mean over the draws, in the order of `LABELS`.
    by_examiner : mapping of int to mapping of str to float
        Macro-F1 against what the examiners wrote.
    us_per_seam : mapping of str to float
    """

    setup: Setup
    test_per_class: tuple[int, ...]
    test_seams: int
    chosen: dict[int, tuple[str, ...]]
    macro_f1: dict[int, dict[str, Interval]]
    ahead: dict[int, dict[str, Interval]]
    f1_of_classes: dict[int, dict[str, tuple[float, ...]]]
    by_examiner: dict[int, dict[str, float]]
    choices: dict[str, dict[str, Any]]
    us_per_seam: dict[str, float]
    our_cost: OurCost
    trees: tuple[TreeFigure, ...]


def gather(setup: Setup, folder: Path, cost: OurCost, trees: tuple[TreeFigure, ...]) -> Written:
    """Read all answers and work out every figure."""
    test = stored(folder, TEST)
    macro, ahead, classes, examiner, chosen = {}, {}, {}, {}, {}
    for size in SIZES:
        answers, chosen[size] = _answers(setup, folder, size)
        values = resampled(answers, test.hidden, test.seams)
        macro[size] = {name: interval(*value) for name, value in values.items()}
        own, again = values[AS_CHOSEN]
        ahead[size] = {n: interval(own - values[n][0], again - values[n][1]) for n in RIVALS}
        classes[size] = {name: _of_classes(found, test.hidden) for name, found in answers.items()}
        examiner[size] = {
            name: float(np.mean(_of_classes(found, test.written))) for name, found in answers.items()
        }
    return Written(
        setup=setup,
        test_per_class=tuple(np.bincount(test.hidden, minlength=len(LABELS)).tolist()),
        test_seams=len(np.unique(test.seams)),
        chosen=chosen,
        macro_f1=macro,
        ahead=ahead,
        f1_of_classes=classes,
        by_examiner=examiner,
        choices={name: _read(folder / f"choice-{name}.json") for name in RIVALS},
        us_per_seam=_costs(folder, cost),
        our_cost=cost,
        trees=trees,
    )


def write(figures: Written, folder: Path) -> None:
    """Write both files."""
    document = asdict(figures) | {"labels": LABELS, "machine": _machine()}
    (folder / "results.json").write_text(json.dumps(document, indent=1) + "\n", encoding="utf-8")
    (folder / "results.md").write_text(_page(figures), encoding="utf-8")


def _answers(
    setup: Setup, folder: Path, size: int
) -> tuple[dict[str, list[NDArray[np.int64]]], tuple[str, ...]]:
    answers: dict[str, list[NDArray[np.int64]]] = {name: [] for name in METHODS}
    chosen = []
    for draw in range(setup.draws):
        with np.load(folder / f"answers-{AS_CHOSEN}-{draw}-{size}.npz") as archive:
            chosen.append(str(archive["chosen"]))
            for name in _OURS:
                answers[name].append(archive[name])
        for name in RIVALS:
            answers[name].append(np.load(folder / f"answers-{name}-{draw}-{size}.npy"))
    return answers, tuple(chosen)


def _of_classes(found: list[NDArray[np.int64]], truths: NDArray[np.int64]) -> tuple[float, ...]:
    eye = np.eye(len(LABELS))
    sums = [
        np.concatenate([(eye[one] * eye[truths]).sum(0), eye[one].sum(0), eye[truths].sum(0)])
        for one in found
    ]
    return tuple(np.mean([f1_by_class(one) for one in sums], axis=0).tolist())


def _costs(folder: Path, cost: OurCost) -> dict[str, float]:
    """A seam's cost: our kernel once a seam, models and the rivals' features once an indication."""
    per_seam = cost.describe_us_per_seam
    found = {
        name: per_seam + cost.indications_per_seam * us for name, us in cost.model_us_per_indication.items()
    }
    found[AS_CHOSEN] = found["lightgbm"]
    for name in RIVALS:
        found[name] = cost.indications_per_seam * sum(_read(folder / f"cost-{name}.json").values())
    return {name: found[name] for name in METHODS}


def _page(w: Written) -> str:
    head = "| method | " + " | ".join(f"{size} a class" for size in SIZES) + " | us a seam |"
    rows = [
        f"| {text} | "
        + " | ".join(str(w.macro_f1[s][name]) for s in SIZES)
        + f" | {w.us_per_seam[name]:,.1f} |"
        for name, text in METHODS.items()
    ]
    lines = ["# Our descriptors beside general time-series methods", "", *_what(w), head]
    lines += ["| --- | " + "--- | " * len(SIZES) + "---: |", *rows, "", *_reading(w)]
    lines += ["", "## How far ours is ahead", "", *_ahead(w), "", "## Class by class", "", *_classes(w)]
    lines += [
        "",
        "## More and fewer trees",
        "",
        *_trees(w),
        "",
        "## What the rivals were given",
        "",
        *_given(w),
    ]
    return "\n".join(lines) + "\n"


def _what(w: Written) -> list[str]:
    counts = ", ".join(f"{n} {label}" for n, label in zip(w.test_per_class, LABELS, strict=True))
    return [
        *_paragraph(
            "The shop is invented and bad on purpose: no figure here is a promise for a real one.",
            "No label releases a seam; the limit rule alone speaks for that.",
        ),
        *_paragraph(
            "Macro-F1 of the forced label against what truly is there.",
            "Training sections carry the examiners' labels, slips included.",
            f"The test is the same for all: {counts}, on {w.test_seams:,} seams of a shop of its own seed.",
            "Every draw of training sections is cut from a further shop of its own seed, so no coil is on",
            "both sides.",
        ),
        *_paragraph(
            "The interval (95 %) covers which training sections were drawn and which seams were tested:",
            f"{w.setup.draws} draws and all seams are drawn again with replacement, seams whole.",
            "So few draws make it somewhat too narrow. It does not cover another shop: our descriptors were",
            "designed with flaws of this theory in view, the rivals' features for time series of any kind.",
        ),
    ]


def _reading(w: Written) -> list[str]:
    lines = _paragraph(
        f"Machine: {_machine()}. Cost: one core, least of several runs,",
        f"{w.our_cost.indications_per_seam:.2f} indications a seam.",
        "Ours includes baseline, noise and finding the indications; that of the rivals is their features and",
        "model alone.",
    )
    return lines + [_verdict(w, size) for size in SIZES]


def _verdict(w: Written, size: int) -> str:
    own = w.macro_f1[size][AS_CHOSEN]
    overlapping = [METHODS[n] for n in RIVALS if w.macro_f1[size][n].high >= own.low]
    behind = [METHODS[n] for n in RIVALS if w.macro_f1[size][n].estimate > own.estimate]
    if behind:
        return f"- {size} a class: **behind** {'; '.join(behind)}."
    if overlapping:
        return f"- {size} a class: ahead of all; the intervals overlap with {'; '.join(overlapping)}."
    return f"- {size} a class: ahead of all, no interval overlaps."


def _ahead(w: Written) -> list[str]:
    lines = [
        "Difference of macro-F1 on the same resamples, with its 95 % interval.",
        "",
        "| than | " + " | ".join(f"{size} a class" for size in SIZES) + " |",
        "| --- |" + " --- |" * len(SIZES),
    ]
    return lines + [
        f"| {METHODS[n]} | " + " | ".join(str(w.ahead[s][n]) for s in SIZES) + " |" for n in RIVALS
    ]


def _classes(w: Written) -> list[str]:
    lines = [
        "F1 of each class, mean over the draws.",
        "",
        "| sections | method | " + " | ".join(LABELS) + " |",
    ]
    lines.append("| ---: | --- |" + " ---: |" * len(LABELS))
    for size in (min(SIZES), 100, max(SIZES)):
        for name, text in METHODS.items():
            values = " | ".join(f"{v:.2f}" for v in w.f1_of_classes[size][name])
            lines.append(f"| {size} | {text} | {values} |")
    return lines


def _trees(w: Written) -> list[str]:
    lines = ["Trees in all, over the classes; `seamtell train` grows 300. In batches, one core.", ""]
    lines += ["| trees | sections a class | macro-F1 | lowest and highest draw | us an indication |"]
    lines += ["| ---: | ---: | ---: | --- | ---: |"]
    for one in w.trees:
        low, high = min(one.macro_f1_of_draws), max(one.macro_f1_of_draws)
        lines.append(
            f"| {one.trees:,} | {one.sections_per_class} | {one.macro_f1:.3f} | {low:.3f}-{high:.3f} "
            f"| {one.us_per_indication:.2f} |"
        )
    return lines


def _given(w: Written) -> list[str]:
    lines = [
        *_paragraph(
            "All see windows round the middle of the same indication, both channels, at 0.5 mm;",
            "MiniRocket averages four samples to one. Stretch (256 mm, 64 mm, or the indication",
            "and one beam), unit (noise or % FSH) and settings of LightGBM were chosen for each on",
            "a pilot shop, 100 sections a class. Ours were not tuned here. Height and extent are",
            "five logarithms: extent, and the highest amplitude of each channel in % FSH and over",
            "the baseline in units of the noise.",
        ),
        "| method | shown | trees | macro-F1 on the pilot |",
        "| --- | --- | --- | ---: |",
    ]
    for name, c in w.choices.items():
        shown = f"{c['stretch']}, {c['unit']}"
        lines.append(f"| {METHODS[name]} | {shown} | {c['trees'] or '-'} | {c['pilot_f1']:.3f} |")
    return lines


def _paragraph(*sentences: str) -> list[str]:
    return [*textwrap.wrap(" ".join(sentences), 112, break_on_hyphens=False), ""]


def _machine() -> str:
    return f"{platform.machine()}, Python {platform.python_version()}, NumPy {np.__version__}"


def _read(path: Path) -> dict[str, Any]:
    known = json.loads(path.read_text("utf-8"))
    if not isinstance(known, dict):
        raise TypeError(f"{path} holds {type(known).__name__}, expected an object")
    return known
