"""``seamtell show`` and ``seamtell descriptors``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from seamtell.pipeline import console
from seamtell.pipeline.commands.options import AsJson, WorkspaceDir

if TYPE_CHECKING:
    from seamtell.pipeline.show import ShowResult

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Add the commands of this area."""
    app.command("show")(_show)
    app.command("descriptors")(_descriptors)


def _show(
    seam: Annotated[str, typer.Argument(help="Seam id.")],
    out: Annotated[
        Path | None, typer.Option("--out", help="Picture to write, .png or .svg; default: in reports/seams.")
    ] = None,
    window: Annotated[
        tuple[float, float] | None,
        typer.Option("--window", help="Stretch of seam to draw, two positions in mm."),
    ] = None,
    explain: Annotated[
        int | None,
        typer.Option(
            "--explain",
            metavar="INDICATION",
            help="Fit simulated flaws to this indication and draw them over both channels.",
        ),
    ] = None,
    workspace: WorkspaceDir = None,
    as_json: AsJson = False,
) -> None:
    """Draw a seam and list its indications; with --explain, say what flaws would leave one of them.

    Draws channels, limits, baselines, indications and sections. A fit is a model fit, not a
    measurement: evidence for the reader, it changes no label and no verdict.
    """
    from seamtell.pipeline.show import show
    from seamtell.pipeline.workspace import find_workspace

    ws = find_workspace(explicit=workspace)
    if explain is not None:
        from seamtell.pipeline.commands.explained import run_explain

        run_explain(ws, seam, explain, out=out, windowed=window is not None, as_json=as_json)
        return
    result = show(ws, seam, out=out, window_mm=window)
    if result.conflict:
        console.warn(
            f"seam '{seam}' has two differing traces; the one that came first is drawn. "
            "To do: settle it, 'seamtell rejected' lists it"
        )
    if as_json:
        console.print_json(_document(result))
        return
    _print(result, ws.root)


def _document(result: ShowResult) -> dict[str, object]:
    return {
        "seam_id": result.seam_id,
        "recipe": result.recipe,
        "picture": str(result.path),
        "indications": [
            {
                "indication": found.indication,
                "start_mm": found.start_mm,
                "end_mm": found.end_mm,
                "peak_mm": found.peak_mm,
                "channels": list(found.channels),
                "exceeded_channels": list(found.exceeded_channels),
                "label": result.labels.get(found.indication),
            }
            for found in result.indications
        ],
        "sections": list(result.sections),
        "dead_zone_indications": result.dead_zone_indications,
        "conflict": result.conflict,
    }


def _print(result: ShowResult, root: Path) -> None:
    if result.indications:
        console.say(f"Indications of seam {result.seam_id}, recipe {result.recipe}")
        console.print_table(
            ("indication", "start (mm)", "end (mm)", "peak (mm)", "seen on", "beyond the limit on", "label"),
            (
                (
                    found.indication,
                    f"{found.start_mm:.1f}",
                    f"{found.end_mm:.1f}",
                    f"{found.peak_mm:.1f}",
                    " + ".join(found.channels),
                    " + ".join(found.exceeded_channels) or "none",
                    result.labels.get(found.indication, "not classified yet"),
                )
                for found in result.indications
            ),
            right=("indication", "start (mm)", "end (mm)", "peak (mm)"),
        )
    else:
        console.say(f"Seam {result.seam_id} has no indication.")
    if result.dead_zone_indications:
        console.say(f"In the dead zones, not judged: {result.dead_zone_indications} more.")
    if result.sections:
        console.say(f"Sections: {', '.join(result.sections)}")
    console.caution()
    inside = result.path.is_relative_to(root)
    console.next_step(f"open {result.path.relative_to(root) if inside else result.path}")


def _descriptors(
    markdown: Annotated[bool, typer.Option("--markdown", help="Print a Markdown table.")] = False,
    as_json: AsJson = False,
) -> None:
    """List every descriptor of an indication: name, family, unit, meaning, formula."""
    from dataclasses import asdict

    from seamtell.features.descriptors.registry import descriptor_rows

    rows = descriptor_rows()
    if as_json:
        console.print_json([asdict(row) for row in rows])
    elif markdown:
        from seamtell.pipeline.report.descriptor_docs import descriptors_markdown

        console.say(descriptors_markdown().rstrip("\n"))
    else:
        console.print_table(
            ("descriptor", "family", "unit", "meaning", "model reads it"),
            ((r.name, r.family, r.unit, r.meaning, "yes" if r.for_model else "no") for r in rows),
        )
