"""Draw the figures of ``data_synth/README.md``: ``python benchmarks/theory_figures.py [FOLDER]``.

Without a folder they go to ``data_synth/figures``. The same code gives the same bytes.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

from matplotlib.figure import Figure
from theory_pages.borders import draw_borders
from theory_pages.descriptor_views import draw_descriptors, draw_pair, shop_sample
from theory_pages.seam_page import seam_page_svg
from theory_pages.strengths import draw_strengths

from seamtell.pipeline.report.figure_files import figure_svg

ROOT = Path(__file__).parents[1]
FULL_WAVE = ROOT / "tests" / "data" / "fullwave"


def write_figures(folder: Path) -> Iterator[Path]:
    """Write all figures into `folder`, one after the other."""
    folder.mkdir(parents=True, exist_ok=True)
    sample = shop_sample()
    figures: Mapping[str, Callable[[], tuple[Figure, str]]] = {
        "strengths": lambda: draw_strengths(FULL_WAVE),
        "descriptors": lambda: draw_descriptors(sample),
        "two_descriptors": lambda: draw_pair(sample),
        "borders": draw_borders,
    }
    for name, draw in figures.items():
        figure, finding = draw()
        path = folder / f"{name}.svg"
        path.write_text(figure_svg(figure, prefix=name, finding=finding, standalone=True), encoding="utf-8")
        yield path
    path = folder / "seams.svg"
    path.write_text(seam_page_svg(), encoding="utf-8")
    yield path


if __name__ == "__main__":
    if len(sys.argv) > 2:
        sys.exit("usage: python benchmarks/theory_figures.py [FOLDER]")
    for written in write_figures(
        Path(sys.argv[1]) if len(sys.argv) == 2 else ROOT / "data_synth" / "figures"
    ):
        print(written)
