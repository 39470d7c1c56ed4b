"""The stage *explain*: which simulated flaws would leave the trace of one indication.

Evidence for the reader and nothing more: the fit enters no verdict and no label.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from seamtell.data_synth.arrays import Floats
from seamtell.data_synth.echo_fit import CauseFit, IndicationFit, fit_indication
from seamtell.data_synth.echo_library import GRID_MM, EchoLibrary, sound_level_pct
from seamtell.data_synth.echo_novelty import WINDOW_BEAMS
from seamtell.data_synth.echo_search import EchoWindow, Levels
from seamtell.data_synth.simulated_flaw import EchoCause
from seamtell.data_synth.theory import THEORY_VERSION
from seamtell.features.contracts import Channel, Indication
from seamtell.features.describer import SeamAnalysis, analyse_seam
from seamtell.features.indications import judged_samples
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.files.atomic import write_bytes_atomically
from seamtell.pipeline.limits_file import read_limits
from seamtell.pipeline.physics.echo_tables import library_for
from seamtell.pipeline.physics.physics_file import Physics, read_physics
from seamtell.pipeline.physics.reference_fit import FittedHead, fitted_head
from seamtell.pipeline.seam_picture import picture_path, stored_trace
from seamtell.pipeline.settings import indication_settings, read_settings
from seamtell.pipeline.store.seam_store import SeamStore
from seamtell.pipeline.workspace import Workspace

__all__ = ["NOVEL_BELOW_P", "Explanation", "explain", "explain_indication"]

NOVEL_BELOW_P = 0.01
"""Fewer simulated flaws than this share fit as badly: nothing simulated explains the indication."""

_LEAST_SOUND_PCT = 1.0
"""A sound seam that echoes less cannot tell the gain of its head."""
_SATURATED_PCT = 99.9
_FEWEST_SAMPLES = 16


@dataclass(frozen=True, eq=False)
class Explanation:
    """What simulated flaws say of one indication.

    Parameters
    ----------
    seam_id, recipe, line : str
    indication : Indication
    fit : IndicationFit
        Every cause with its best flaw, best first.
    window : EchoWindow
        What was fitted, on the grid of the table.
    baseline_pct : float array of shape (2, m)
        Of both channels in the window.
    assumed : tuple of str
        What the fit takes for granted, one sentence each.
    path : Path or None
        The picture, where one was drawn.
    """

    seam_id: str
    recipe: str
    line: str
    indication: Indication
    fit: IndicationFit
    window: EchoWindow
    baseline_pct: Floats
    assumed: tuple[str, ...]
    path: Path | None = None

    @property
    def novel(self) -> bool:
        """No simulated flaw explains it."""
        return self.fit.p_value < NOVEL_BELOW_P

    @property
    def possible(self) -> tuple[CauseFit, ...]:
        """Causes that fit almost as well as the best; empty when none explains the indication."""
        return () if self.novel else self.fit.possible

    @property
    def no_flaw_needed(self) -> bool:
        """A change of gain alone fits almost as well as the best."""
        return any(fit.cause is EchoCause.GAIN_CHANGE for fit in self.possible)


def explain(ws: Workspace, seam_id: str, indication: int, *, out: Path | None = None) -> Explanation:
    """Fit simulated flaws to one indication and draw the fits.

    Parameters
    ----------
    ws : Workspace
    seam_id : str
    indication : int
        Its number on the seam, as ``seamtell show SEAM`` lists it.
    out : Path, optional
        ``.png`` or ``.svg``; default a file in ``reports/seams`` of the workspace.

    Raises
    ------
    BadInput
        No such seam or indication, no ``physics.toml`` or no joint in it for the recipe,
        sheets that disagree, or an indication longer than any simulated flaw.
    StorageProblem
        The table or the picture cannot be written.
    """
    path = picture_path(ws, seam_id, out, f"-explain-{indication}")
    trace = stored_trace(SeamStore(ws.traces_dir), seam_id)
    settings = indication_settings(read_settings(ws.settings_path).describe)
    analysis = analyse_seam(trace, read_limits(ws.limits_path).for_recipe(trace.recipe), settings)
    _indication(analysis, indication)
    physics = read_physics(ws.physics_path)
    physics.check_agrees(trace)
    fitted = fitted_head(ws, physics, trace.line)
    library = library_for(ws, physics.joint_for(trace.recipe), fitted.head, physics.flaw_ranges)
    found = explain_indication(analysis, indication, library, fitted, physics)
    _draw(found, path)
    return replace(found, path=path)


def explain_indication(
    analysis: SeamAnalysis,
    indication: int,
    library: EchoLibrary,
    fitted: FittedHead,
    physics: Physics | None = None,
) -> Explanation:
    """Fit the flaws of a table to one indication; numbers only, nothing is drawn."""
    chosen = _indication(analysis, indication)
    longest = library.longest_mm + 2 * analysis.limits.beam_width_mm
    if chosen.end_mm - chosen.start_mm > longest:
        raise BadInput(
            f"indication {indication} is {chosen.end_mm - chosen.start_mm:.0f} mm long, "
            f"the longest simulated flaw shows as {longest:.0f} mm",
            where=_seam(analysis),
            do="widen the expected ranges in physics.toml, or look at it without a fit",
        )
    window, baseline = _window(analysis, chosen, library, fitted)
    trace = analysis.trace
    where = f" ({physics.path.name}, SHA-256 {physics.digest[:12]})" if physics is not None else ""
    return Explanation(
        trace.seam_id,
        trace.recipe,
        trace.line,
        chosen,
        fit_indication(library, window),
        window,
        baseline,
        (f"{_joint_words(library)}{where}", *_gain_words(window.levels, fitted), _table_words(library)),
    )


def _seam(analysis: SeamAnalysis) -> str:
    return f"seam '{analysis.trace.seam_id}'"


def _indication(analysis: SeamAnalysis, number: int) -> Indication:
    if 0 <= number < len(analysis.indications):
        return analysis.indications[number]
    count = len(analysis.indications)
    listed = f"0 to {count - 1}" if count else "none"
    dead = analysis.dead_zone_indications
    judged = f"; {dead} more in the dead zones are not judged and cannot be explained" if dead else ""
    raise BadInput(
        f"no indication {number}, the seam has {listed}{judged}",
        where=_seam(analysis),
        do="list them with 'seamtell show SEAM'",
    )


def _window(
    analysis: SeamAnalysis, chosen: Indication, library: EchoLibrary, fitted: FittedHead
) -> tuple[EchoWindow, Floats]:
    """What was measured around an indication, resampled to the grid of the table."""
    trace, beam_mm = analysis.trace, analysis.limits.beam_width_mm
    aside = WINDOW_BEAMS * beam_mm
    first = max(chosen.start_mm - aside, trace.start_mm)
    last = min(chosen.end_mm + aside, trace.end_mm)
    at = first + GRID_MM * np.arange(int((last - first) / GRID_MM + 1e-9) + 1)
    read = trace.positions_mm()
    amplitude = np.stack([np.interp(at, read, trace.amplitudes_pct[channel]) for channel in Channel])
    baseline = np.stack([np.interp(at, read, analysis.baseline_pct[channel]) for channel in Channel])
    noise = np.array([analysis.noise_pct[channel] for channel in Channel])
    counts = _counts(analysis, chosen, at) & (amplitude < _SATURATED_PCT).all(axis=0)
    if counts.sum() < _FEWEST_SAMPLES:
        raise BadInput(
            f"only {int(counts.sum())} usable points every {GRID_MM:g} mm around indication "
            f"{chosen.indication}, expected {_FEWEST_SAMPLES}",
            where=_seam(analysis),
            do="it is saturated, or shut in by dead zones and neighbours: look at it without a fit",
        )
    levels = _levels(baseline, library, fitted)
    ends = (chosen.start_mm, chosen.end_mm)
    return EchoWindow.measured(at, amplitude, baseline, noise, ends, levels, beam_mm, counts), baseline


def _counts(analysis: SeamAnalysis, chosen: Indication, at_mm: Floats) -> NDArray[np.bool_]:
    """Outside the dead zones, and nearer to this indication than to any other."""
    read, judged = analysis.trace.positions_mm(), judged_samples(analysis.trace, analysis.limits)
    counts = (at_mm >= read[judged].min()) & (at_mm <= read[judged].max())
    for other in analysis.indications:
        if other is chosen:
            continue
        if other.end_mm <= chosen.start_mm:
            counts &= at_mm >= (other.end_mm + chosen.start_mm) / 2
        elif other.start_mm >= chosen.end_mm:
            counts &= at_mm <= (other.start_mm + chosen.end_mm) / 2
    return np.asarray(counts)


def _levels(baseline_pct: Floats, library: EchoLibrary, fitted: FittedHead) -> Levels:
    """Gain from the seam's own specular level; the scatter channel's beside it as last fitted."""
    sound = sound_level_pct(library.joint, library.head)
    idle = baseline_pct.mean(axis=1)
    gain = 10 ** (fitted.gain_db[Channel.SPECULAR] / 20)
    if abs(sound) >= _LEAST_SOUND_PCT and idle[0] > 0:
        gain = float(idle[0]) / abs(sound)
    between_db = fitted.gain_db[Channel.SCATTER] - fitted.gain_db[Channel.SPECULAR]
    return Levels(gain, gain * 10 ** (between_db / 20), sound, float(idle[0]), max(float(idle[1]), 0.0))


def _joint_words(library: EchoLibrary) -> str:
    joint, head = library.joint, library.head
    return (
        f"joint of {joint.sheet_a_mm:g} and {joint.sheet_b_mm:g} mm, ramp {joint.ramp_mm:g} mm, "
        f"{head.frequency_mhz:g} MHz; theory version {THEORY_VERSION}, centre frequency alone"
    )


def _gain_words(levels: Levels, fitted: FittedHead) -> tuple[str, str]:
    own = abs(levels.sound_pct) >= _LEAST_SOUND_PCT and levels.specular_idle_pct > 0
    gain = (
        f"gain from the seam's own specular level: {levels.specular_idle_pct:.1f} % FSH for "
        f"{abs(levels.sound_pct):.1f} % of a free edge"
        if own
        else "gain as last fitted: the sound seam of this joint echoes too little to tell it"
    )
    between = fitted.gain_db[Channel.SCATTER] - fitted.gain_db[Channel.SPECULAR]
    stands = "fitted to reference blank runs" if fitted.fitted else "never fitted to a reference blank"
    return gain, f"scatter {between:+.1f} dB beside specular, {stands}"


def _table_words(library: EchoLibrary) -> str:
    out = f", {library.left_out} left out beyond the theory's range" if library.left_out else ""
    return f"{len(library.designed):,} simulated flaws{out}"


def _draw(found: Explanation, path: Path) -> None:
    from seamtell.pipeline.report.explain_figure import draw_explanation, finding_sentence
    from seamtell.pipeline.report.figure_files import figure_png, figure_svg

    figure = draw_explanation(found)
    if path.suffix.lower() == ".svg":
        data = figure_svg(figure, finding=finding_sentence(found), standalone=True).encode("utf-8")
    else:
        data = figure_png(figure)
    write_bytes_atomically(path, data)
