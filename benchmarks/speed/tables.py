"""The results of one run as JSON and as Markdown."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from speed.growth import Growth
from speed.machine import Machine
from speed.ratios import Ratio
from speed.timing import Measured, NotMeasured

__all__ = ["Results", "committed_ratios", "markdown", "write_results"]

_GROWTH_BOUND = 0.10


@dataclass(frozen=True)
class Results:
    """Everything that one run measured.

    Parameters
    ----------
    load : mapping
        Seams, samples and indications a seam.
    rows : sequence of Measured or NotMeasured
    """

    machine: Machine
    load: Mapping[str, Any]
    rows: Sequence[Measured | NotMeasured]
    ratios: Sequence[Ratio]
    growths: Sequence[Growth]


def write_results(results: Results, folder: Path) -> None:
    """Write ``results.json`` and ``results.md``."""
    document = {
        "machine": asdict(results.machine),
        "load": dict(results.load),
        "rows": [asdict(row) for row in results.rows if isinstance(row, Measured)],
        "not_measured": [asdict(row) for row in results.rows if isinstance(row, NotMeasured)],
        "ratios": [asdict(ratio) for ratio in results.ratios],
        "growth": [asdict(growth) for growth in results.growths],
    }
    (folder / "results.json").write_text(json.dumps(document, indent=1) + "\n", encoding="utf-8")
    (folder / "results.md").write_text(markdown(results), encoding="utf-8")


def committed_ratios(path: Path) -> dict[str, float]:
    """Read the ratios of an earlier ``results.json``; none without the file or without ratios in it."""
    try:
        document = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return {}
    return {ratio["name"]: float(ratio["value"]) for ratio in document.get("ratios", ())}


def markdown(results: Results) -> str:
    """Write the three tables."""
    load = results.load
    lines = [
        f"Machine: {results.machine.in_words()}.",
        "",
        f"Load: {load['different_seams']} different invented seams, repeated; 2 x {load['samples']:,} "
        f"samples and {load['indications_a_seam']:.2f} indications a seam. Made by `make bench`. "
        "Quote ratios: absolute figures are of this machine.",
        "",
        "| work | unit | best | median | runs |",
        "| --- | --- | ---: | ---: | ---: |",
        *(_row(row) for row in results.rows),
        "",
        "| ratio of the best runs | value | must reach |",
        "| --- | ---: | ---: |",
        *(f"| {r.words} | {_figure(r.value)} | {_must(r.must)} |" for r in results.ratios),
        "",
        "| describing costs more with | from | to | log-log slope | last size, against first in proportion |",
        "| --- | ---: | ---: | ---: | ---: |",
        *(_growth(growth) for growth in results.growths),
    ]
    return "\n".join(lines) + "\n"


def _row(row: Measured | NotMeasured) -> str:
    if isinstance(row, NotMeasured):
        return f"| {row.work} | not measured: {row.why.replace('|', '/')} | | | |"
    return f"| {row.work} | {row.unit} | {_figure(row.best)} | {_figure(row.median)} | {row.runs} |"


def _figure(value: float) -> str:
    return f"{value:,.0f}" if value >= 100 else f"{value:.3g}"


def _must(value: float | None) -> str:
    return "" if value is None else f"{value:g}"


def _growth(growth: Growth) -> str:
    note = "" if growth.excess <= _GROWTH_BOUND else " (more than 10 %)"
    return (
        f"| {growth.of} | {growth.sizes[0]:,} | {growth.sizes[-1]:,} | {growth.slope:.3f} | "
        f"{100 * growth.excess:+.0f} %{note} |"
    )
