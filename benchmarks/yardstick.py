"""Lay the model over the seams of a full-wave simulation, case by case.

``python benchmarks/yardstick.py FOLDER [--out FOLDER]`` reads ``cases.json`` and ``scans/`` and prints
the table; with ``--out`` it also writes ``yardstick_table.md`` and ``figures/yardstick.svg`` there.
Any dimensions, any number of flaws a case; what the model does not know is named and left out.
Cases beyond the aim are listed under the table; they are no failure of the command.
"""

from __future__ import annotations

import argparse
import sys
from math import ceil
from pathlib import Path
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from seamtell.data_synth.head import Head
from seamtell.data_synth.yardstick import ModelScan, model_scan
from seamtell.data_synth.yardstick_cases import CaseFolder, FullWaveCase, read_cases
from seamtell.data_synth.yardstick_table import compare_all, markdown
from seamtell.features.contracts import Channel
from seamtell.features.errors import SeamtellError
from seamtell.pipeline.report.figure_files import figure_svg

COLUMNS = 4
FINDING = "Both channels of every full-wave case with the model drawn over them; the table gives the errors."
STYLE: dict[Channel, dict[str, Any]] = {
    Channel.SPECULAR: {"color": "#0072B2", "linestyle": "-", "linewidth": 1.4},
    Channel.SCATTER: {"color": "#222222", "linestyle": "--", "linewidth": 1.2},
}


def draw(folder: CaseFolder, head: Head) -> Figure:
    """Small multiples: both channels of each case one above the other, each with its own scale."""
    cases = [case for case in folder.cases if case.roughness is None]
    blocks = ceil(len(cases) / COLUMNS)
    figure = Figure(figsize=(11.5, 2.9 * blocks), layout="constrained")
    axes = figure.subplots(2 * blocks, COLUMNS, squeeze=False)
    for place in range(blocks * COLUMNS):
        row, column = divmod(place, COLUMNS)
        pair = (axes[2 * row, column], axes[2 * row + 1, column])
        if place < len(cases):
            draw_case(pair, cases[place], model_scan(cases[place], head))
        else:
            for blank in pair:
                blank.set_axis_off()
    figure.suptitle(
        "Model (line) over full-wave simulation (pale band): specular solid, scatter dashed; "
        "own scale each, % of full scale",
        fontsize=9,
    )
    return figure


def draw_case(pair: tuple[Axes, Axes], case: FullWaveCase, scan: ModelScan) -> None:
    """Both channels of one case."""
    for axes, channel in zip(pair, (Channel.SPECULAR, Channel.SCATTER), strict=True):
        colour = STYLE[channel]["color"]
        axes.plot(case.positions_mm, case.amplitude_pct[channel], color=colour, alpha=0.25, linewidth=4.5)
        axes.plot(case.positions_mm, scan.amplitude_pct[channel], **STYLE[channel])
        axes.set_ylim(bottom=0)
        axes.tick_params(labelsize=6)
        axes.spines[["top", "right"]].set_visible(False)
        axes.set_ylabel(channel.value, fontsize=6)
    pair[0].set_title(case.name, fontsize=7, loc="left")
    pair[0].tick_params(labelbottom=False)
    pair[1].set_xlabel("position, mm", fontsize=6)


def main() -> int:
    """Print the table; write it and the figure where asked."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("folder", type=Path, help="holds cases.json and scans/")
    parser.add_argument("--out", type=Path, help="folder to write table and figure into")
    given = parser.parse_args()
    try:
        folder = read_cases(given.folder)
    except SeamtellError as error:
        print(f"error: {error}", file=sys.stderr)
        return 2
    table = markdown(compare_all(folder, Head()))
    print(table, end="")
    if given.out is not None:
        (given.out / "figures").mkdir(parents=True, exist_ok=True)
        (given.out / "yardstick_table.md").write_text(table, encoding="utf-8")
        drawn = figure_svg(draw(folder, Head()), prefix="yardstick", finding=FINDING, standalone=True)
        (given.out / "figures" / "yardstick.svg").write_text(drawn, encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
