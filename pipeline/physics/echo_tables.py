"""Tables of simulated echoes in the workspace: built once for a joint and a head, then only read."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from seamtell.data_synth.arrays import Complex
from seamtell.data_synth.echo_designs import DesignedFlaw, designed_flaws
from seamtell.data_synth.echo_library import (
    EchoLibrary,
    echo_on_grid,
    library_digest,
    library_from_bytes,
    library_to_bytes,
)
from seamtell.data_synth.echo_novelty import NOVELTY_DRAWS, novelty_misfits
from seamtell.data_synth.expected_ranges import FlawRanges
from seamtell.data_synth.head import Head, Joint
from seamtell.features.errors import SeamtellError
from seamtell.pipeline import console
from seamtell.pipeline.files.atomic import storage_errors, write_bytes_atomically
from seamtell.pipeline.workspace import Workspace

__all__ = ["build_library", "library_for", "table_path"]


def table_path(ws: Workspace, digest: str) -> Path:
    """Where the table of a digest lies."""
    return ws.physics_dir / "tables" / f"{digest}.npz"


def library_for(ws: Workspace, joint: Joint, head: Head, ranges: FlawRanges) -> EchoLibrary:
    """Read the table of a joint and head, or build it when there is none yet or it is damaged.

    Raises
    ------
    SeamtellError
        The theory answers for none of the expected flaws.
    StorageProblem
        The table cannot be read or written.
    """
    digest = library_digest(joint, head, ranges)
    path = table_path(ws, digest)
    if path.is_file():
        with storage_errors(path):
            data = path.read_bytes()
        try:
            return library_from_bytes(data, digest, joint, head, ranges)
        except SeamtellError as problem:
            console.warn(f"{path.relative_to(ws.root)}: {problem.what}; it is built again")
    library = build_library(joint, head, ranges)
    write_bytes_atomically(path, library_to_bytes(library, digest))
    return library


def build_library(joint: Joint, head: Head, ranges: FlawRanges, *, draws: int = NOVELTY_DRAWS) -> EchoLibrary:
    """Ask the theory for every designed flaw, then how well flaws beside the design are fitted.

    Takes a minute or two; one progress bar each on a terminal.
    """
    designed = designed_flaws(joint, ranges)
    with console.progress(designed, "simulated echoes, once for this joint", len(designed)) as flaws:
        echoes = [_echo(one, joint, head) for one in flaws]
    library = EchoLibrary.of(joint, head, designed, echoes)
    with console.progress(range(draws), "how well such flaws are fitted", draws) as seeds:
        misfits, extents = novelty_misfits(library, ranges, seeds)
    return replace(library, novelty_misfits=misfits, novelty_extents_mm=extents)


def _echo(designed: DesignedFlaw, joint: Joint, head: Head) -> tuple[Complex, Complex] | None:
    try:
        specular, scatter = echo_on_grid(designed.flaw, joint, head)
    except SeamtellError:
        # Outside the theory's range; the table says how many were left out.
        return None
    return (specular, scatter) if np.isfinite(specular).all() and np.isfinite(scatter).all() else None
