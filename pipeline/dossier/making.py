"""Making a dossier: read the files, arrange the content, write page, paper, tables and figures."""

from __future__ import annotations

import hashlib
import json
import re
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from seamtell.pipeline.dossier.arrangement import arrange
from seamtell.pipeline.dossier.content import DossierContent
from seamtell.pipeline.dossier.figures import svg_file
from seamtell.pipeline.dossier.page import dossier_html
from seamtell.pipeline.dossier.pdf import write_pdf
from seamtell.pipeline.dossier.source import read_source
from seamtell.pipeline.dossier.tables import table_csv
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.evaluation.files import SECTIONS_FILE
from seamtell.pipeline.files.atomic import storage_errors, write_bytes_atomically
from seamtell.pipeline.files.locking import workspace_lock
from seamtell.pipeline.workspace import Workspace

__all__ = ["DOSSIER_FOLDER", "MANIFEST_FILE", "DossierResult", "make_dossier", "write_dossier"]

DOSSIER_FOLDER = "dossier"
PAGE_FILE = "dossier.html"
MANIFEST_FILE = "manifest.json"
_MANIFEST_SCHEMA_VERSION = 1


@dataclass(frozen=True)
class DossierResult:
    """What was written.

    Parameters
    ----------
    folder : Path
    model_id : str
    answer : str
        The summary verdict.
    files : dict of str to str
        Path below `folder` to SHA-256.
    """

    folder: Path
    model_id: str
    answer: str
    files: dict[str, str]


def make_dossier(ws: Workspace, model_id: str, *, now: datetime, out: Path | None = None) -> DossierResult:
    """Make the dossier of an evaluated model.

    Parameters
    ----------
    now : datetime
        Timezone-aware; stated on every page.
    out : Path, optional
        Folder to write to; default ``reports/<model_id>/dossier``. Must be empty or an older dossier.

    Raises
    ------
    BadInput
        No such model, not evaluated, or `out` holds other things.
    Refused
        A digest does not hold, or the evaluation is out of date.
    WorkspaceBusy, StorageProblem
        Nothing whole was written.
    """
    folder = out if out is not None else ws.reports_dir / model_id / DOSSIER_FOLDER
    with workspace_lock(ws):
        source = read_source(ws, model_id, now=now)
        _check_folder(folder)
        content = arrange(source)
        copied = {f"tables/{SECTIONS_FILE}": (ws.reports_dir / model_id / SECTIONS_FILE).read_bytes()}
        files = write_dossier(content, folder, copied)
    return DossierResult(folder, model_id, content.answer, files)


def write_dossier(
    content: DossierContent, folder: Path, copied: dict[str, bytes] | None = None
) -> dict[str, str]:
    """Write everything below `folder` and return the SHA-256 of each file; the manifest comes last.

    Parameters
    ----------
    content : DossierContent
    folder : Path
    copied : dict of str to bytes, optional
        Further files, taken over as they are.
    """
    older = _listed(folder)
    if not (folder / MANIFEST_FILE).exists():
        # Marks the folder as ours, so that a run that was cut short can be repeated.
        _write_manifest(content, folder, {})
    files = dict(copied or {})
    files.update({table.file: table_csv(table) for table in content.tables()})
    files.update(
        {figure.file: svg_file(figure.svg, figure.alt).encode("utf-8") for figure in content.figures()}
    )
    files[PAGE_FILE] = dossier_html(content).encode("utf-8")
    for name, data in sorted(files.items()):
        write_bytes_atomically(folder / name, data)
    digests = {name: hashlib.sha256(data).hexdigest() for name, data in files.items()}
    pdf = write_pdf(content, folder)
    digests[pdf.name] = hashlib.sha256(pdf.read_bytes()).hexdigest()
    digests = dict(sorted(digests.items()))
    _write_manifest(content, folder, digests)
    _remove(folder, older - set(digests))
    return digests


def _write_manifest(content: DossierContent, folder: Path, digests: dict[str, str]) -> None:
    manifest = {
        "schema_version": _MANIFEST_SCHEMA_VERSION,
        "identification": content.identification,
        "files": digests,
    }
    text = json.dumps(manifest, indent=1, ensure_ascii=False) + "\n"
    write_bytes_atomically(folder / MANIFEST_FILE, text.encode("utf-8"))


def _check_folder(folder: Path) -> None:
    """Refuse a folder that holds anything but an older dossier: its files would be mixed with ours."""
    if not folder.exists():
        return
    with storage_errors(folder):
        names = {path.name for path in folder.iterdir()}
    if names and MANIFEST_FILE not in names:
        raise BadInput(
            "the folder is not empty and holds no dossier",
            where=str(folder),
            do="name an empty folder with --out",
        )


def _listed(folder: Path) -> set[str]:
    """Names in the manifest of an older dossier, as far as a dossier could have written them."""
    path = folder / MANIFEST_FILE
    try:
        document = json.loads(path.read_bytes())
    except FileNotFoundError:
        return set()
    except (OSError, ValueError):
        raise BadInput(
            "the manifest of the older dossier cannot be read",
            where=str(path),
            do="name an empty folder with --out",
        ) from None
    files = document.get("files") if isinstance(document, dict) else None
    return {name for name in files or () if re.fullmatch(r"(tables|figures)/[A-Za-z0-9_.-]+", str(name))}


def _remove(folder: Path, names: set[str]) -> None:
    """Take away what an older dossier wrote and this one did not; nothing else is touched."""
    with storage_errors(folder):
        for name in sorted(names):
            (folder / name).unlink(missing_ok=True)
