"""What a fit to the reference blank found, and its file ``physics/fits/<line>.toml``."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from urllib.parse import quote, unquote

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from seamtell.data_synth.head import Head
from seamtell.features.contracts import Channel
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.files.atomic import storage_errors, write_bytes_atomically
from seamtell.pipeline.physics.run_fit import RunFit
from seamtell.pipeline.versioned_toml import first_complaint, read_versioned_toml
from seamtell.pipeline.workspace import Workspace

__all__ = ["Estimate", "Fit", "FlawReturn", "StoredFit", "fit_path", "fitted_lines", "read_fit", "write_fit"]

FIT_SCHEMA_VERSION = 1

_NUMBERED = re.compile(r"\.\d{4}$")
_MISSING_DB = -10.0


@dataclass(frozen=True)
class Estimate:
    """A mean over runs with its 95 % interval; `low` and `high` are ``None`` when one run stands alone."""

    value: float
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True)
class FlawReturn:
    """How a machined flaw came back.

    Parameters
    ----------
    error_db : mapping of Channel to float
        Recorded over fitted peak, median over the runs.
    counted : bool
        False when it came back so badly that the fit left it out.
    """

    name: str
    error_db: Mapping[Channel, float]
    counted: bool

    @property
    def is_missing(self) -> bool:
        """Whether nothing like its echo is there: a tenth of the energy, in one channel."""
        return min(self.error_db.values()) < _MISSING_DB

    @property
    def worst_db(self) -> float:
        """Error of the channel that is farther off."""
        return max(self.error_db.values(), key=abs)


@dataclass(frozen=True)
class Fit:
    """Calibration of one line's head.

    Parameters
    ----------
    line : str
    gain_db : mapping of Channel to Estimate
        Recorded % FSH over the theory's % of free edge.
    aperture_sd_mm, beam_width_mm : Estimate
        The width is the two-way specular beam's, at half maximum, at the seam.
    residual_db : float
        Root mean square of the flaws' peak errors, both channels, all runs, counted flaws.
    flaws : tuple of FlawReturn
    runs : tuple of RunFit
        By time.
    nominal : Head
        Head of the physics file that the fit began from.
    blank_name, blank_digest, theory_version : str
    fitted_at : datetime
    """

    line: str
    gain_db: Mapping[Channel, Estimate]
    aperture_sd_mm: Estimate
    beam_width_mm: Estimate
    residual_db: float
    flaws: tuple[FlawReturn, ...]
    runs: tuple[RunFit, ...]
    nominal: Head
    blank_name: str
    blank_digest: str
    theory_version: str
    fitted_at: datetime

    @property
    def n_runs(self) -> int:
        """Runs behind every estimate."""
        return len(self.runs)


class _Stored(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class _StoredEstimate(_Stored):
    value: float
    low: float | None = None
    high: float | None = None


class _StoredHead(_Stored):
    frequency_mhz: float
    stand_off_mm: float
    scatter_tilt_sin: float
    c_longitudinal_mm_per_us: float
    c_shear_mm_per_us: float


class _StoredFlaw(_Stored):
    name: str
    specular_error_db: float
    scatter_error_db: float
    counted: bool


class _StoredRun(_Stored):
    seam_id: str
    welded_at: str
    aperture_sd_mm: float
    specular_gain_db: float
    scatter_gain_db: float
    offset_mm: float
    reversed: bool


class StoredFit(_Stored):
    """A fit as it is read back.

    Parameters
    ----------
    head : table
        What of the nominal head the fit depends on besides the aperture.
    """

    schema_version: int = FIT_SCHEMA_VERSION
    line: str
    n_runs: int = Field(ge=1)
    residual_db: float
    theory_version: str
    blank: str
    blank_digest: str
    fitted_at: str
    aperture_sd_mm: _StoredEstimate
    beam_width_mm: _StoredEstimate
    gain_db: dict[Channel, _StoredEstimate]
    head: _StoredHead
    flaw: tuple[_StoredFlaw, ...] = ()
    run: tuple[_StoredRun, ...] = ()

    def is_of(self, head: Head) -> bool:
        """Whether the head of the physics file is still the one that was fitted."""
        return self.head == _stored_head(head)


def fit_path(ws: Workspace, line: str) -> Path:
    """Where the latest fit of a line lies; a line may be called anything, a file may not."""
    return ws.physics_dir / "fits" / f"{quote(line, safe=' ').replace('.', '%2E')}.toml"


def fitted_lines(ws: Workspace) -> tuple[str, ...]:
    """Lines that have a fit, sorted; older, numbered fits do not count."""
    folder = ws.physics_dir / "fits"
    names = (path.stem for path in folder.glob("*.toml")) if folder.is_dir() else ()
    return tuple(sorted(unquote(name) for name in names if not _NUMBERED.search(name)))


def write_fit(ws: Workspace, fit: Fit) -> Path:
    """Write a fit; an older one of the line is kept beside it under a number.

    Returns
    -------
    Path
        The file written.
    """
    path = fit_path(ws, fit.line)
    if path.exists():
        with storage_errors(path):
            older = path.read_bytes()
        write_bytes_atomically(_free_number(path), older)
    write_bytes_atomically(path, _as_toml(_stored(fit)).encode("utf-8"))
    return path


def read_fit(ws: Workspace, line: str) -> StoredFit | None:
    """Read the latest fit of a line, ``None`` when there is none.

    Raises
    ------
    BadInput
        The file is not what ``seamtell physics fit`` writes.
    """
    path = fit_path(ws, line)
    if not path.is_file():
        return None
    document, _ = read_versioned_toml(path, what="fit", version=FIT_SCHEMA_VERSION)
    try:
        return StoredFit.model_validate(document)
    except ValidationError as problem:
        raise BadInput(
            f"not a fit as 'seamtell physics fit' writes it: {first_complaint(problem)}",
            where=str(path),
            do="fit the line again, or put an older, numbered fit in its place",
        ) from None


def _free_number(path: Path) -> Path:
    number = 1
    while (numbered := path.with_name(f"{path.stem}.{number:04d}.toml")).exists():
        number += 1
    return numbered


def _stored_head(head: Head) -> _StoredHead:
    return _StoredHead(
        frequency_mhz=head.frequency_mhz,
        stand_off_mm=head.stand_off_mm,
        scatter_tilt_sin=head.scatter_tilt_sin,
        c_longitudinal_mm_per_us=head.material.c_longitudinal_mm_per_us,
        c_shear_mm_per_us=head.material.c_shear_mm_per_us,
    )


def _stored(fit: Fit) -> StoredFit:
    return StoredFit(
        line=fit.line,
        n_runs=fit.n_runs,
        residual_db=round(fit.residual_db, 4),
        theory_version=fit.theory_version,
        blank=fit.blank_name,
        blank_digest=fit.blank_digest,
        fitted_at=fit.fitted_at.isoformat(),
        aperture_sd_mm=_rounded(fit.aperture_sd_mm),
        beam_width_mm=_rounded(fit.beam_width_mm),
        gain_db={channel: _rounded(fit.gain_db[channel]) for channel in Channel},
        head=_stored_head(fit.nominal),
        flaw=tuple(_stored_flaw(flaw) for flaw in fit.flaws),
        run=tuple(_stored_run(run) for run in fit.runs),
    )


def _rounded(estimate: Estimate) -> _StoredEstimate:
    low, high = (None if end is None else round(end, 4) for end in (estimate.low, estimate.high))
    return _StoredEstimate(value=round(estimate.value, 4), low=low, high=high)


def _stored_flaw(flaw: FlawReturn) -> _StoredFlaw:
    specular, scatter = (round(flaw.error_db[channel], 2) for channel in (Channel.SPECULAR, Channel.SCATTER))
    return _StoredFlaw(
        name=flaw.name, specular_error_db=specular, scatter_error_db=scatter, counted=flaw.counted
    )


def _stored_run(run: RunFit) -> _StoredRun:
    return _StoredRun(
        seam_id=run.seam_id,
        welded_at=run.welded_at.isoformat(),
        aperture_sd_mm=round(run.aperture_sd_mm, 4),
        specular_gain_db=round(run.gain_db[Channel.SPECULAR], 4),
        scatter_gain_db=round(run.gain_db[Channel.SCATTER], 4),
        offset_mm=round(run.offset_mm, 3),
        reversed=run.reversed,
    )


def _as_toml(fit: StoredFit) -> str:
    """Write tables of plain values; JSON's strings, numbers and booleans are TOML's as well."""
    document = fit.model_dump(mode="json", exclude_none=True)
    lines = ["# Written by 'seamtell physics fit'; an older fit of this line lies beside it under a number."]
    lines += [f"{key} = {json.dumps(value)}" for key, value in document.items() if _is_plain(value)]
    for key, value in document.items():
        if isinstance(value, dict):
            lines += ["", f"[{key}]", *(_entry(name, part) for name, part in value.items())]
        elif isinstance(value, list):
            for table in value:
                lines += ["", f"[[{key}]]", *(_entry(name, part) for name, part in table.items())]
    return "\n".join(lines) + "\n"


def _is_plain(value: object) -> bool:
    return not isinstance(value, dict | list)


def _entry(name: str, value: object) -> str:
    if isinstance(value, dict):
        return f"{name} = {{ {', '.join(f'{k} = {json.dumps(v)}' for k, v in value.items())} }}"
    return f"{name} = {json.dumps(value)}"
