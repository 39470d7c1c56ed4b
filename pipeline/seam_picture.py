"""What every drawing of one seam needs first: the stored seam, and a file to write to."""

from __future__ import annotations

import difflib
import hashlib
from pathlib import Path

from seamtell.features.contracts import SeamTrace
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.report.plain_text import safe_slug
from seamtell.pipeline.store.seam_store import SeamStore
from seamtell.pipeline.workspace import Workspace

__all__ = ["DRAWING_KINDS", "picture_path", "stored_trace"]

DRAWING_KINDS: tuple[str, ...] = (".png", ".svg")


def picture_path(ws: Workspace, seam_id: str, out: Path | None, suffix: str = "") -> Path:
    """Where to draw a seam: `out`, or a file below the reports.

    Raises
    ------
    BadInput
        `out` is a folder, or neither PNG nor SVG.
    """
    if out is None:
        # The digest keeps two ids with one slug apart.
        digest = hashlib.sha256(seam_id.encode("utf-8", "surrogatepass")).hexdigest()[:8]
        return ws.reports_dir / "seams" / f"{safe_slug(seam_id)}-{digest}{suffix}.png"
    if out.suffix.lower() not in DRAWING_KINDS:
        raise BadInput(
            f"got '{out.suffix}', expected {' or '.join(DRAWING_KINDS)}",
            where=str(out),
            do="end the file name with .png or .svg",
        )
    if out.is_dir():
        raise BadInput("is a folder, expected a file to write", where=str(out), do="say --out DIR/FILE.png")
    return out


def stored_trace(store: SeamStore, seam_id: str) -> SeamTrace:
    """The trace of a seam.

    Raises
    ------
    BadInput
        The store is empty, or does not hold the seam; names that come close are offered.
    """
    known = [str(name) for name in store.metadata()["seam_id"]]
    if not known:
        raise BadInput(
            "the store holds no seams", where=str(store.folder), do="run 'seamtell ingest PATH' first"
        )
    if seam_id in set(known):
        return store.get(seam_id)
    close = difflib.get_close_matches(seam_id, known, n=3, cutoff=0.6)
    advice = f"did you mean {' or '.join(repr(name) for name in close)}?" if close else "mend the seam id"
    raise BadInput(f"no seam '{seam_id}' among {len(known)} in the store", do=advice)
