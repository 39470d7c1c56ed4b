"""``seamtell physics``: heads and sheets for the guided-wave theory, and their calibration."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from seamtell.pipeline import console
from seamtell.pipeline.commands.options import AsJson, BlankFile, BlankRuns, ProfileName, WorkspaceDir

if TYPE_CHECKING:
    from seamtell.pipeline.physics.fit_file import Estimate, Fit
    from seamtell.pipeline.physics.physics_check import PhysicsCheck

__all__ = ["register"]

_MUCH_SCATTER_DB = 1.5


def register(app: typer.Typer) -> None:
    """Add the commands."""
    physics = typer.Typer(
        no_args_is_help=True, help="The guided-wave theory: heads, sheets, expected flaws, calibration."
    )
    physics.command("template")(physics_template)
    physics.command("check")(physics_check)
    physics.command("fit")(physics_fit)
    app.add_typer(physics, name="physics")


def physics_template() -> None:
    """Print a commented physics.toml, for a workspace that has none."""
    from seamtell.pipeline.init import default_file

    print(default_file("physics.toml").decode("utf-8"), end="")


def physics_check(workspace: WorkspaceDir = None, as_json: AsJson = False) -> None:
    """Show what physics.toml says, and where heads and sheets lie in the theory's range."""
    from seamtell.pipeline.physics.physics_check import check_physics
    from seamtell.pipeline.workspace import find_workspace

    check = check_physics(find_workspace(explicit=workspace))
    if as_json:
        console.print_json(check.as_document())
        return
    console.say(f"{check.path}, theory version {check.theory_version}")
    console.say()
    _print_check(check)
    if not check.heads or not check.recipes:
        console.next_step(f"add tables [head.default] and [recipe.NAME] to {check.path}")
        return
    console.next_step("seamtell physics fit BLANK.toml TRACE... --line LINE, then seamtell implant")


def _print_check(check: PhysicsCheck) -> None:
    heads = [
        (
            head.line,
            f"{head.frequency_mhz:g}",
            f"{head.wavelength_mm:.2f}",
            f"{head.aperture_sd_mm:.3g}",
            f"{head.beam_width_mm:.1f}",
            f"{head.stand_off_mm:g}",
            f"{head.tilt_deg:.1f}",
            f"{head.cut_off_mm:.2f}",
            head.calibration,
        )
        for head in check.heads
    ]
    columns = ("line", "MHz", "wave, mm", "aperture, mm", "beam, mm", "stand-off, mm", "tilt, deg")
    console.print_table((*columns, "SH1 from, mm", "gain and aperture"), heads, right=columns[1:])
    recipes = [
        (name, f"{j.sheet_a_mm:g}", f"{j.sheet_b_mm:g}", f"{j.ramp_mm:g}") for name, j in check.recipes
    ]
    titles = ("recipe", "sheet A, mm", "sheet B, mm", "ramp, mm")
    console.print_table(titles, recipes, right=titles[1:])
    console.print_table(("expected", "range"), check.expected)
    ranges = [
        (note.where, one.quantity, f"{one.value:.3g} {one.unit}".rstrip(), one.allowed, one.verdict.value)
        for note in check.notes
        for one in (note.note,)
    ]
    console.print_table(("where", "quantity", "value", "answered", "verdict"), ranges)
    for note in check.notes:
        if note.note.verdict.value == "strained":
            console.warn(f"{note.where}: {note.note.quantity} {note.note.value:.3g}: {note.note.reason}")


def physics_fit(
    blank: BlankFile,
    traces: BlankRuns,
    line: Annotated[str, typer.Option("--line", help="Line whose head was used.")],
    profile: ProfileName = None,
    workspace: WorkspaceDir = None,
    as_json: AsJson = False,
) -> None:
    """Fit gain and beam width of a line's head to runs of the reference blank."""
    from datetime import UTC, datetime

    from seamtell.pipeline.physics.calibrate import calibrate
    from seamtell.pipeline.workspace import find_workspace

    ws = find_workspace(explicit=workspace)
    fit, path = calibrate(ws, blank, traces, line, profile=profile, now=datetime.now(UTC))
    _warn(fit)
    if as_json:
        from seamtell.pipeline.physics.fit_file import read_fit

        stored = read_fit(ws, line)
        console.print_json({"path": str(path), **(stored.model_dump(mode="json") if stored else {})})
        return
    _print_fit(fit)
    console.say(f"Written to {path}; simulated flaws of line {line} are made with it from now on.")
    console.caution()
    console.next_step("seamtell implant")


def _print_fit(fit: Fit) -> None:
    from seamtell.features.contracts import Channel

    n = f"{fit.n_runs} run{'' if fit.n_runs == 1 else 's'}"
    console.say(
        f"Line {fit.line}, blank {fit.blank_name}, {n}; residual {fit.residual_db:.2f} dB at the peaks."
    )
    console.say()
    rows = [
        (f"gain, {channel.value}", _with_interval(fit.gain_db[channel], "dB", "+.2f")) for channel in Channel
    ]
    rows += [
        ("aperture, standard deviation", _with_interval(fit.aperture_sd_mm, "mm", ".2f")),
        ("two-way beam at the seam, half maximum", _with_interval(fit.beam_width_mm, "mm", ".2f")),
    ]
    console.print_table(("fitted", f"mean of {n} [95 % interval]"), rows)
    runs = [
        (
            run.seam_id,
            f"{run.welded_at:%Y-%m-%d}",
            *(f"{run.gain_db[channel]:+.2f}" for channel in Channel),
            f"{run.aperture_sd_mm:.2f}",
            f"{run.offset_mm:+.1f}",
            "yes" if run.reversed else "",
        )
        for run in fit.runs
    ]
    columns = ("run", "day", "specular, dB", "scatter, dB", "aperture, mm", "offset, mm", "turned")
    console.print_table(columns, runs, right=columns[2:6])
    flaws = [
        (
            flaw.name,
            *(f"{flaw.error_db[channel]:+.1f}" for channel in Channel),
            "" if flaw.counted else "left out",
        )
        for flaw in fit.flaws
    ]
    console.print_table(
        ("machined flaw", "specular, dB", "scatter, dB", ""), flaws, right=("specular, dB", "scatter, dB")
    )


def _with_interval(estimate: Estimate, unit: str, form: str) -> str:
    if estimate.low is None or estimate.high is None:
        return f"{estimate.value:{form}} {unit} [unknown]"
    return f"{estimate.value:{form}} {unit} [{estimate.low:{form}}, {estimate.high:{form}}]"


def _warn(fit: Fit) -> None:
    from seamtell.features.contracts import Channel

    for flaw in fit.flaws:
        if not flaw.counted:
            how = "did not come back" if flaw.is_missing else f"came back {flaw.worst_db:+.1f} dB off"
            console.warn(f"{flaw.name} {how} and was left out. To do: look at the blank and at its file")
    if fit.n_runs == 1:
        console.warn("one run: no interval can be stated. To do: run the blank again on other days")
    for channel in Channel:
        gains = [run.gain_db[channel] for run in fit.runs]
        if max(gains) - min(gains) > _MUCH_SCATTER_DB:
            console.warn(
                f"gain of {channel.value} differs by {max(gains) - min(gains):.1f} dB between the runs; "
                "one mean stands for all. To do: fit the runs since the last change of the head alone"
            )
