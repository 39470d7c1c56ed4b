"""Tables of the experiments as JSON and Markdown."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from math import isfinite
from pathlib import Path

import numpy as np

from learning.answering import AS_CHOSEN, CANDIDATES, Answer, CellResult
from learning.borders import BORDERS
from learning.cells import NOMINAL, REAL_ONLY, Cell, Setup
from learning.drawn import draw_experiment
from learning.stored_rows import Stored
from learning.summary import READINGS, Line, as_good_as, lines_of
from seamtell.data_synth.theory import THEORY_VERSION
from seamtell.pipeline.report.figure_files import figure_svg

__all__ = ["write_all"]

_TITLES = {
    "a": "Learning curves: real sections of each class, without and with simulated flaws",
    "b": "A third of the sizes of every class that no section had, and that alone is asked",
    "c": "A thickness pair that no section had, and that alone is asked",
    "d": "Physics that is wrong on purpose",
}
_NAME = "learning_from_physics"
Ceilings = Mapping[str, tuple[Answer, ...]]


def write_all(
    folder: Path,
    setup: Setup,
    cells: Mapping[str, Sequence[Cell]],
    results: Mapping[Cell, CellResult],
    rows: Stored,
    ceilings: Ceilings,
) -> Iterable[Path]:
    """Write ``learning_from_physics.json``, ``.md`` and a figure an experiment into `folder`."""
    folder.mkdir(parents=True, exist_ok=True)
    lines = {name: lines_of(some, results) for name, some in cells.items()}
    document = {
        "theory_version": THEORY_VERSION,
        "setup": asdict(setup),
        "rows": {"pool": len(rows.pool), "test": len(rows.test)},
        "border_pairs": [pair.name for pair in BORDERS],
        "ceilings": {key: [asdict(one) for one in answers] for key, answers in ceilings.items()},
        "lines": {name: [asdict(line) for line in some] for name, some in lines.items()},
        "as_good_as": _needed(lines.get("a", [])),
    }
    text = json.dumps(_finite(document), indent=1, ensure_ascii=False) + "\n"
    (path := folder / f"{_NAME}.json").write_text(text, encoding="utf-8")
    yield path
    (path := folder / f"{_NAME}.md").write_text(_page(setup, rows, lines, ceilings), encoding="utf-8")
    yield path
    for name, some in lines.items():
        figure, finding = draw_experiment(name, some, ceilings)
        path = folder / f"{_NAME}_{name}.svg"
        path.write_text(figure_svg(figure, finding=finding, standalone=True), encoding="utf-8")
        yield path


def _finite(value: object) -> object:
    """NaN and infinity have no place in JSON."""
    if isinstance(value, dict):
        return {key: _finite(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(one) for one in value]
    return None if isinstance(value, float) and not isfinite(value) else value


def _needed(lines: Sequence[Line]) -> dict[str, dict[int, float]]:
    if not any(line.physics == REAL_ONLY for line in lines):
        return {}
    return {name: as_good_as(lines, name, "truth") for name in (AS_CHOSEN, *CANDIDATES)}


def _page(setup: Setup, rows: Stored, lines: Mapping[str, Sequence[Line]], ceilings: Ceilings) -> str:
    counts = {label: int((rows.test.hidden == label).sum()) for label in np.unique(rows.test.hidden).tolist()}
    said = ", ".join(f"{number} {label.replace('_', ' ')}" for label, number in counts.items())
    wrong = float((rows.test.hidden != rows.test.labels).mean())
    parts = [
        "# What simulated flaws are worth to a classifier",
        "All of it simulated: an invented shop stands in for a real one. Its beams, gains, nuisances and "
        "flaw sizes differ from what the simulated flaws are made with, but both follow one theory; a real "
        "seam follows none. Macro-F1 over five classes, mean over draws with its 95 % interval (Student's t "
        "over draws; the test is fixed); differences are paired, draw by draw. "
        f"Test: {len(rows.test)} indications ({said}), {100 * wrong:.1f} % of them with a wrong label of the "
        f"examiner. Simulated flaws: {setup.simulated_per_class} a class in every draw, put into the shop's "
        f"own sound seams; theory {THEORY_VERSION}.",
        "*truth*: against what is really there. *examiner*: against the written label. *borders merged*: "
        "against the truth, with these confusions counted as right, as the two are physically one: "
        + "; ".join(pair.name for pair in BORDERS)
        + ".",
        _ceiling_table(ceilings),
    ]
    for name, some in lines.items():
        parts += [f"## ({name}) {_TITLES[name]}", f"![{_TITLES[name]}]({_NAME}_{name}.svg)", _table(some)]
        if name == "a":
            parts.append(_needed_sentence(some))
        if name == "b":
            parts.append(_border_table(some))
    return "\n\n".join(parts) + "\n"


def _ceiling_table(ceilings: Ceilings) -> str:
    head = [
        "Ceiling: the same candidates with every section of the pool, asked the same flaws.",
        "",
        "| asked | candidate | truth | examiner | borders merged |",
        "| --- | --- | ---: | ---: | ---: |",
    ]
    for key, answers in ceilings.items():
        for one in answers:
            cells = " | ".join(
                f"{read(one):.3f}" for read in (READINGS[r] for r in ("truth", "examiner", "borders merged"))
            )
            head.append(f"| {key or 'all'} | {one.candidate} | {cells} |")
    return "\n".join(head)


def _table(lines: Sequence[Line]) -> str:
    found = [
        "| left out | sections a class | physics | candidate | macro-F1, truth | against real only "
        "| examiner | against real only | borders merged | against real only "
        "| weight chosen, median (range) |",
        "| --- | ---: | --- | --- | --- | --- | --- | --- | --- | --- | --- |",
    ]
    by_reading = {reading: [line for line in lines if line.reading == reading] for reading in READINGS}
    for truth, examiner, merged in zip(
        by_reading["truth"], by_reading["examiner"], by_reading["borders merged"], strict=True
    ):
        figures = " | ".join(f"{one.macro_f1} | {_difference(one)}" for one in (truth, examiner, merged))
        found.append(
            f"| {truth.left_out or '–'} | {truth.sections} | {truth.physics} | {truth.candidate} | {figures} "
            f"| {_weights(truth)} |"
        )
    return "\n".join(found)


def _difference(line: Line) -> str:
    return "" if line.against_real_only is None else line.against_real_only.signed()


def _weights(line: Line) -> str:
    known = [weight for weight in line.weights if weight is not None]
    if line.physics == REAL_ONLY or not known:
        return ""
    return f"{np.median(known):g} ({min(known):g}–{max(known):g})"


def _needed_sentence(lines: Sequence[Line]) -> str:
    said = []
    for name, needed in _needed(lines).items():
        pairs = [f"{number} with physics ≙ {_number(alone)} without" for number, alone in needed.items()]
        said.append(f"- {name}: " + "; ".join(pairs))
    return "Real sections a class for the same macro-F1 (truth):\n\n" + "\n".join(said)


def _number(value: float) -> str:
    return f"{value:.0f}" if isfinite(value) else "more than any tried"


def _border_table(lines: Sequence[Line]) -> str:
    found = [
        "Confusions of the border pairs among all confusions, mean over draws:",
        "",
        "| left out | physics | sections a class | candidate | flaws asked | confusions | "
        + " | ".join(pair.name for pair in BORDERS)
        + " |",
        f"| --- | --- | ---: | --- | ---: | ---: |{' ---: |' * len(BORDERS)}",
    ]
    for line in lines:
        if line.reading == "truth" and line.physics in (REAL_ONLY, NOMINAL):
            borders = " | ".join(f"{count:.1f}" for count in line.borders)
            found.append(
                f"| {line.left_out} | {line.physics} | {line.sections} | {line.candidate} | {line.asked} "
                f"| {line.errors:.1f} | {borders} |"
            )
    return "\n".join(found)
