"""``seamtell synth``: an invented shop to try everything on."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from seamtell.pipeline import console
from seamtell.pipeline.commands.options import AsJson

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Add the commands of this area."""
    app.command("synth")(synth_command)


def synth_command(
    folder: Annotated[
        Path, typer.Argument(metavar="DIR", help="Folder to write to; nothing is overwritten.")
    ],
    seams: Annotated[int, typer.Option("--seams", min=1, help="How many seams.")] = 3600,
    seed: Annotated[int, typer.Option("--seed", min=0, help="The same seed gives the same bytes.")] = 1,
    sections: Annotated[
        int | None, typer.Option("--sections", min=0, help="How many sections; default 22 in 100 seams.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Invent a shop: traces, sections, limits and reference runs; the truth hides in a folder of its own."""
    from seamtell.pipeline.synth import HIDDEN_TRUTH_DIR, synth

    def watch(made):  # type: ignore[no-untyped-def]
        with console.progress(made, "inventing seams", total=seams) as items:
            yield from items

    result = synth(folder, seams=seams, seed=seed, sections=sections, watch=watch)
    if as_json:
        console.print_json(
            {
                "folder": str(result.folder),
                "text_seams": result.text_seams,
                "parquet_seams": result.parquet_seams,
                "sections": result.sections,
                "physics": str(result.physics_path),
                "reference": str(result.reference_dir),
                "blank": str(result.blank_path),
                "reference_runs": result.reference_runs,
                "checks": str(result.checks_dir),
                "check_runs": result.check_runs,
            }
        )
        return
    console.print_table(
        ("what", "where", "count"),
        (
            ("seams of line L1, text files", result.traces_dir, result.text_seams),
            ("seams of line L2, one Parquet file", result.parquet_path, result.parquet_seams),
            ("destructive sections", result.sections_path, result.sections),
            ("limits", result.limits_path, ""),
            ("heads and sheets, as the shop knows them", result.physics_path, ""),
            ("runs of the reference blank, every line", result.reference_dir, result.reference_runs),
            ("reference blank", result.blank_path, ""),
            ("weekly runs of it, to check the heads", result.checks_dir, result.check_runs),
            ("input profile of the text files", result.profile_path, ""),
            ("hidden truth, read by no command", result.folder / HIDDEN_TRUTH_DIR, ""),
        ),
        right=("count",),
    )
    if sections is not None and result.sections < sections:
        console.warn(f"{sections} sections wanted, the traces show only enough for {result.sections}")
    console.say("All of it is invented: no real shop, no measurement.")
    console.next_step(
        f"seamtell init WORKSPACE, copy {result.limits_path} and {result.physics_path} into it and "
        f"{result.profile_path} into its profiles/, then: seamtell ingest {result.traces_dir} "
        f"{result.parquet_path} --workspace WORKSPACE"
    )
