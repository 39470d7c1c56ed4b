"""The folder of a model: text and JSON only, every byte under a digest.

    model_card.json             what the model is (no time, no path)
    candidates/<name>.json|txt  every fitted candidate
    calibration.json  conformal.json  novelty.json
                                (a model learnt from simulation alone has only the last)
    probe.json                  some inputs and what the model answered when it was saved
    digests.json                SHA-256 of every file above and of any extra file

The digest of the model is the SHA-256 of ``digests.json``. Digests show that a
folder is the one that was saved; they do not show who saved it. That is for
the approval log, which holds the digest of each approved model.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import tempfile
from collections.abc import Mapping
from pathlib import Path, PurePosixPath
from typing import Any

import numpy as np

from seamtell.features.errors import SeamtellError
from seamtell.models.calibration import Calibration
from seamtell.models.candidates import CANDIDATES
from seamtell.models.canonical_json import canonical_json
from seamtell.models.conformal import ConformalScores, nonconformity
from seamtell.models.errors import ModelRefused
from seamtell.models.flaw_model import FlawModel
from seamtell.models.model_card import READABLE_FORMATS, ModelCard
from seamtell.models.novelty import NoveltyModel
from seamtell.models.physics_only_model import PhysicsOnlyModel
from seamtell.models.reasons import Reason

__all__ = [
    "PROBE_TOLERANCE",
    "ModelRefused",
    "load_any_model",
    "load_model",
    "model_digest",
    "save_model",
]

PROBE_TOLERANCE = 1e-12
"""Largest difference of any recomputed number of the probe."""

_CARD = "model_card.json"
_CALIBRATION = "calibration.json"
_CONFORMAL = "conformal.json"
_NOVELTY = "novelty.json"
_PROBE = "probe.json"
_DIGESTS = "digests.json"
_CANDIDATES = "candidates/"
_FORMATS = " or ".join(str(version) for version in READABLE_FORMATS)
_RETRAIN = "restore the folder from a copy, or train again"


def save_model(
    model: FlawModel | PhysicsOnlyModel, folder: Path, extra_files: Mapping[str, bytes] | None = None
) -> str:
    """Write the folder, whole or not at all.

    Parameters
    ----------
    model : FlawModel or PhysicsOnlyModel
    folder : Path
        Must not exist; its parent must.
    extra_files : mapping of str to bytes, optional
        Further files of the training run, by name; they come under a digest too.

    Returns
    -------
    str
        The model digest. The same model and extra files give the same digest.

    Raises
    ------
    SeamtellError
        The folder exists, or an extra file has a name that is taken or leads elsewhere.
    OSError
        The disk is full or read-only; nothing is left behind.
    """
    if folder.exists():
        raise SeamtellError("a model folder is there already", where=str(folder), do="choose another folder")
    files = _model_files(model)
    for name, content in (extra_files or {}).items():
        if name in files or name == _DIGESTS or not _is_plain(name):
            raise SeamtellError(f"got the extra file '{name}', expected a new plain name", where=str(folder))
        files[name] = content
    files[_DIGESTS] = canonical_json({name: _sha256(content) for name, content in files.items()})
    building = Path(tempfile.mkdtemp(prefix=".model-", dir=folder.parent))
    try:
        for name, content in files.items():
            _write(building / name, content)
        building.chmod(0o755)
        building.rename(folder)
    except BaseException:
        shutil.rmtree(building, ignore_errors=True)
        raise
    return _sha256(files[_DIGESTS])


def model_digest(folder: Path) -> str:
    """Return the model digest, after checking every file against its own.

    Raises
    ------
    ModelRefused
        A file is missing, extra, or differs.
    """
    return _sha256(_verified_files(folder)[_DIGESTS])


def load_model(folder: Path, *, schema_digest: str | None = None) -> FlawModel:
    """Load a model after checking every digest, the descriptor schema and the probe.

    Parameters
    ----------
    folder : Path
    schema_digest : str, optional
        Digest of the descriptor definitions in use; that of the registry when left out.

    Raises
    ------
    ModelRefused
        Naming the file that differs; its `reason` says whether the bytes or the
        descriptor definitions do. Also for a model that was learnt from simulation
        alone: ask `load_any_model` for one.
    """
    model = load_any_model(folder, schema_digest=schema_digest)
    if isinstance(model, PhysicsOnlyModel):
        raise ModelRefused(
            "learnt from simulation alone; no section has judged it",
            where=str(folder / _CARD),
            do="use it in a trial run only, or train again when there are sections",
            reason=Reason.NO_APPROVED_MODEL,
        )
    return model


def load_any_model(folder: Path, *, schema_digest: str | None = None) -> FlawModel | PhysicsOnlyModel:
    """Load a model as `load_model` does, also one that was learnt from simulation alone.

    Raises
    ------
    ModelRefused
    """
    files = _verified_files(folder)
    try:
        model, probe = _parse(files)
        _check_schema(model, folder, schema_digest)
        same = _same_answers(model, probe)
    except ModelRefused:
        raise
    except Exception as problem:
        raise ModelRefused(
            f"not readable as a model of format {_FORMATS}: {type(problem).__name__}",
            where=str(folder / _CARD),
            do="use the seamtell version that saved it, or train again",
            reason=Reason.SCHEMA_MISMATCH,
        ) from problem
    if not same:
        raise ModelRefused(
            "the model does not answer its own probe as when it was saved",
            where=str(folder / _PROBE),
            do="use the library versions that the card names, or train again",
        )
    return model


def _model_files(model: FlawModel | PhysicsOnlyModel) -> dict[str, bytes]:
    if model.card.physics_only != isinstance(model, PhysicsOnlyModel):
        raise ValueError("the card and the type of the model disagree on physics_only")
    files = {
        _CARD: canonical_json(model.card.model_dump(mode="json")),
        _NOVELTY: canonical_json(model.novelty.to_document()),
        _PROBE: canonical_json({"values": model.probe_values.tolist(), "answers": _probe_answers(model)}),
    }
    if isinstance(model, FlawModel):
        files[_CALIBRATION] = canonical_json(model.calibration.to_document())
        files[_CONFORMAL] = canonical_json(model.conformal.to_document(model.classes))
    for name, candidate in model.candidates.items():
        for file_name, content in candidate.to_files().items():
            if PurePosixPath(file_name).stem != name:
                raise ValueError(f"candidate {name} writes {file_name}, expected {name}.<suffix>")
            files[_CANDIDATES + file_name] = content
    return files


def _probe_answers(model: FlawModel | PhysicsOnlyModel) -> dict[str, Any]:
    """Every number that the model computes for the probe, before any threshold."""
    values = model.probe_values
    raw = {name: model.candidate_probabilities(name, values) for name in model.candidates}
    chosen = raw[model.card.chosen]
    calibrated = (
        {"calibrated": model.calibration.apply(chosen).tolist()} if isinstance(model, FlawModel) else {}
    )
    return {
        "candidates": {name: probabilities.tolist() for name, probabilities in raw.items()},
        **calibrated,
        "margins": nonconformity(chosen).tolist(),
        "distances": model.novelty.shape.distances(values).tolist(),
    }


def _verified_files(folder: Path) -> dict[str, bytes]:
    """Read every file once, into memory, and check it there; nothing is read again afterwards."""
    if not (folder / _DIGESTS).is_file():
        raise ModelRefused("no model is here: the file is missing", where=str(folder / _DIGESTS), do=_RETRAIN)
    found: dict[str, bytes] = {}
    for path in sorted(folder.rglob("*")):
        if path.is_symlink() or not (path.is_dir() or path.is_file()):
            raise ModelRefused("got a link, expected a plain file", where=str(path), do=_RETRAIN)
        if path.is_file():
            found[path.relative_to(folder).as_posix()] = path.read_bytes()
    try:
        stated = json.loads(found[_DIGESTS])
        canonical = canonical_json(stated) == found[_DIGESTS] and isinstance(stated, dict)
    except (ValueError, RecursionError):
        canonical = False
    if not canonical:
        raise ModelRefused("the list of digests was changed", where=str(folder / _DIGESTS), do=_RETRAIN)
    for name in sorted((set(found) | set(stated)) - {_DIGESTS}):
        if name not in stated:
            raise ModelRefused(
                "an extra file that was not saved with the model", where=str(folder / name), do=_RETRAIN
            )
        if name not in found:
            raise ModelRefused("a file of the model is missing", where=str(folder / name), do=_RETRAIN)
        if _sha256(found[name]) != stated[name]:
            raise ModelRefused(
                "the file is not the one that was saved", where=str(folder / name), do=_RETRAIN
            )
    return found


def _parse(files: Mapping[str, bytes]) -> tuple[FlawModel | PhysicsOnlyModel, dict[str, Any]]:
    card = ModelCard.model_validate_json(files[_CARD])
    if card.format_version not in READABLE_FORMATS:
        raise ValueError(f"format {card.format_version}")
    candidates = {}
    for name in card.candidates:
        own = {
            path.removeprefix(_CANDIDATES): content
            for path, content in files.items()
            if path.startswith(_CANDIDATES) and PurePosixPath(path).stem == name
        }
        candidates[name] = CANDIDATES[name].fitted.from_files(own)
    probe = json.loads(files[_PROBE])
    novelty = NoveltyModel.from_document(json.loads(files[_NOVELTY]))
    probe_values = np.array(probe["values"], dtype=np.float64)
    if card.physics_only:
        if _CALIBRATION in files or _CONFORMAL in files:
            raise ValueError("calibrated, and yet learnt from simulation alone")
        return PhysicsOnlyModel(card, candidates, novelty, probe_values), probe["answers"]
    model = FlawModel(
        card=card,
        candidates=candidates,
        calibration=Calibration.from_document(json.loads(files[_CALIBRATION])),
        conformal=ConformalScores.from_document(json.loads(files[_CONFORMAL]), card.classes),
        novelty=novelty,
        probe_values=probe_values,
    )
    return model, probe["answers"]


def _check_schema(model: FlawModel | PhysicsOnlyModel, folder: Path, schema_digest: str | None) -> None:
    if schema_digest is None:
        from seamtell.features.descriptors import registry

        schema_digest = registry.schema_digest()
    if model.card.schema_digest != schema_digest:
        raise ModelRefused(
            f"trained on descriptor definitions {model.card.schema_digest[:12] or '(none)'}, "
            f"this seamtell has {schema_digest[:12]}",
            where=str(folder / _CARD),
            do="train again, or use the seamtell version that saved it",
            reason=Reason.SCHEMA_MISMATCH,
        )


def _same_answers(model: FlawModel | PhysicsOnlyModel, stored: dict[str, Any]) -> bool:
    ours = _probe_answers(model)
    pairs = [(ours["candidates"][name], stored["candidates"][name]) for name in ours["candidates"]]
    pairs += [(ours[key], stored[key]) for key in ours if key != "candidates"]
    return all(np.shape(a) == np.shape(b) and _near(a, b) for a, b in pairs)


def _near(ours: list[Any], stored: list[Any]) -> bool:
    a, b = np.array(ours, dtype=np.float64), np.array(stored, dtype=np.float64)
    # Probabilities absolutely, distances (which have no bound) relatively.
    return bool((np.abs(a - b) <= PROBE_TOLERANCE * np.maximum(1.0, np.abs(b))).all())


def _is_plain(name: str) -> bool:
    return (
        PurePosixPath(name).parts == (name,)
        and name not in {".", ".."}
        and "\\" not in name
        and name.isascii()
    )


def _write(path: Path, content: bytes) -> None:
    path.parent.mkdir(exist_ok=True)
    with path.open("xb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


def _sha256(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()
