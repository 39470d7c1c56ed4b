"""Calibration of a line's head from runs of the reference blank, and the head that results."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from math import sqrt

import numpy as np
from scipy.stats import t as student

from seamtell.data_synth.head import Head
from seamtell.data_synth.theory import THEORY_VERSION
from seamtell.features.contracts import Channel, SeamTrace
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.physics.blank_file import Blank
from seamtell.pipeline.physics.blank_theory import BlankTheory, beam_width_mm, blank_theory
from seamtell.pipeline.physics.fit_file import Estimate, Fit, FlawReturn, fit_path, read_fit
from seamtell.pipeline.physics.physics_file import Physics
from seamtell.pipeline.physics.run_fit import RunFit, fit_run
from seamtell.pipeline.workspace import Workspace

__all__ = ["FLAW_OFF_DB", "MOST_MISFIT", "FittedHead", "fit_reference", "fitted_head"]

FLAW_OFF_DB = 4.0
"""A machined flaw that comes back this far off is left out: badly cut, blocked, or not where it should be."""
MOST_MISFIT = 0.5
"""Norm left over of the norm recorded, from which the theory does not describe the runs at all."""
_LEAST_COUNTED = 2


@dataclass(frozen=True)
class FittedHead:
    """Head of a line with the gain of each channel.

    Parameters
    ----------
    head : Head
        That of the physics file, its aperture replaced by the fitted one.
    gain_db : mapping of Channel to float
        Recorded % FSH over the theory's % of free edge; 0 dB when never fitted.
    fitted : bool
        Whether runs of a reference blank stand behind it.
    """

    head: Head
    gain_db: Mapping[Channel, float]
    fitted: bool


def fitted_head(ws: Workspace, physics: Physics, line: str) -> FittedHead:
    """Head of a line as the latest fit leaves it, or as the physics file states it.

    Raises
    ------
    BadInput
        No head for the line, a broken fit, or one made for another head or theory.
    """
    head = physics.head_for(line)
    fit = read_fit(ws, line)
    if fit is None:
        return FittedHead(head, dict.fromkeys(Channel, 0.0), fitted=False)
    if not fit.is_of(head) or fit.theory_version != THEORY_VERSION:
        changed = "version of the theory" if fit.is_of(head) else "head of physics.toml"
        raise BadInput(
            f"the fit of line '{line}' was made with another {changed}",
            where=str(fit_path(ws, line)),
            do="run 'seamtell physics fit' again, or remove the file to go on unfitted",
        )
    gain_db = {channel: fit.gain_db[channel].value for channel in Channel}
    return FittedHead(replace(head, aperture_sd_mm=fit.aperture_sd_mm.value), gain_db, fitted=True)


def fit_reference(
    physics: Physics, blank: Blank, runs: Sequence[SeamTrace], line: str, *, now: datetime
) -> Fit:
    """Fit gain of each channel and aperture of a line's head to runs of the reference blank.

    Each run is fitted by itself; a value is the mean over the runs, its interval the
    Student interval of that mean, so that wear, lift-off and noise between the runs are in
    it. What the theory gets wrong of every flaw alike is not.

    Raises
    ------
    BadInput
        Outside the theory's range, or no convergence: the message states the residual.
    """
    head = physics.head_for(line)
    theory = blank_theory(blank, head)
    fits, counted = _fit_all(blank, theory, runs)
    flaws = _returns(blank, fits, counted)
    residual = _residual_db(fits, counted)
    _require_convergence(blank, fits, counted, residual)
    apertures = [fit.aperture_sd_mm for fit in fits]
    widths = [beam_width_mm(replace(head, aperture_sd_mm=aperture)) for aperture in apertures]
    return Fit(
        line,
        {channel: _estimate([fit.gain_db[channel] for fit in fits]) for channel in Channel},
        _estimate(apertures),
        _estimate(widths),
        residual,
        flaws,
        fits,
        head,
        blank.name,
        blank.digest,
        THEORY_VERSION,
        now,
    )


def _fit_all(
    blank: Blank, theory: BlankTheory, runs: Sequence[SeamTrace]
) -> tuple[tuple[RunFit, ...], tuple[bool, ...]]:
    """Fit every run; leave out the flaw that is farthest off, if too far, and fit again."""
    counted = [True] * len(blank.flaws)
    while True:
        chosen = [flaw for flaw, counts in zip(blank.flaws, counted, strict=True) if counts]
        fits = tuple(fit_run(run, blank, theory, chosen) for run in runs)
        worst = {
            i: abs(flaw.worst_db)
            for i, flaw in enumerate(_returns(blank, fits, counted))
            if flaw.counted and abs(flaw.worst_db) > FLAW_OFF_DB
        }
        if not worst or sum(counted) <= _LEAST_COUNTED:
            return fits, tuple(counted)
        counted[max(worst, key=worst.__getitem__)] = False


def _returns(blank: Blank, fits: Sequence[RunFit], counted: Sequence[bool]) -> tuple[FlawReturn, ...]:
    found = []
    for i, flaw in enumerate(blank.flaws):
        errors = {c: float(np.median([fit.flaw_error_db[i][c] for fit in fits])) for c in Channel}
        found.append(FlawReturn(flaw.name, errors, counted[i]))
    return tuple(found)


def _residual_db(fits: Sequence[RunFit], counted: Sequence[bool]) -> float:
    errors = [
        error
        for fit in fits
        for flaw, counts in zip(fit.flaw_error_db, counted, strict=True)
        if counts
        for error in flaw.values()
    ]
    return sqrt(float(np.mean(np.square(errors))))


def _require_convergence(
    blank: Blank, fits: Sequence[RunFit], counted: Sequence[bool], residual_db: float
) -> None:
    achieved = f"residual {residual_db:.1f} dB at the flaws' peaks"
    off = [
        flaw for flaw in _returns(blank, fits, counted) if flaw.counted and abs(flaw.worst_db) > FLAW_OFF_DB
    ]
    if off:
        raise BadInput(
            f"no convergence: fewer than {_LEAST_COUNTED} machined flaws came back as stated ({achieved})",
            where=str(blank.path),
            do="check that these are runs of this blank, and the positions and sizes in its file",
        )
    for fit in fits:
        if not fit.settled or fit.misfit > MOST_MISFIT:
            raise BadInput(
                f"no convergence for run '{fit.seam_id}': aperture {fit.aperture_sd_mm:.2f} mm, "
                f"{100 * fit.misfit:.0f} % of the amplitude left over ({achieved})",
                where=str(blank.path),
                do="leave this run out, or mend aperture_sd_mm in physics.toml when every run fails so",
            )


def _estimate(values: Sequence[float]) -> Estimate:
    """Mean with its two-sided 95 % Student interval; unknown for one run."""
    mean, n = float(np.mean(values)), len(values)
    if n < 2:
        return Estimate(mean)
    half = float(student.ppf(0.975, n - 1) * np.std(values, ddof=1) / sqrt(n))
    return Estimate(mean, mean - half, mean + half)
