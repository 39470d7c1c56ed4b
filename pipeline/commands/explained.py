"""What ``seamtell show SEAM --explain N`` prints."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from seamtell.pipeline import console

if TYPE_CHECKING:
    from seamtell.data_synth.echo_fit import CauseFit
    from seamtell.pipeline.explain import Explanation
    from seamtell.pipeline.workspace import Workspace

__all__ = ["run_explain"]


def run_explain(
    ws: Workspace, seam_id: str, indication: int, *, out: Path | None, windowed: bool, as_json: bool
) -> None:
    """Fit simulated flaws to one indication, draw them and print what was found."""
    from seamtell.pipeline.errors import BadInput
    from seamtell.pipeline.explain import explain

    if windowed:
        raise BadInput(
            "--window and --explain together, expected one of them",
            do="leave --window away: a fit draws the stretch that it reads",
        )
    found = explain(ws, seam_id, indication, out=out)
    if as_json:
        console.print_json(_document(found))
    else:
        _print(found, ws.root)


def _document(found: Explanation) -> dict[str, Any]:
    from seamtell.pipeline.report.explain_figure import finding_sentence
    from seamtell.pipeline.report.explained_words import FIT_LABEL

    return {
        "seam_id": found.seam_id,
        "recipe": found.recipe,
        "line": found.line,
        "indication": found.indication.indication,
        "start_mm": found.indication.start_mm,
        "end_mm": found.indication.end_mm,
        "what_this_is": FIT_LABEL,
        "finding": finding_sentence(found),
        "explained": not found.novel,
        "no_flaw_needed": found.no_flaw_needed,
        "p_value": found.fit.p_value,
        "allowed_misfit": found.fit.allowed_misfit,
        "fits": [_fit(fit, found) for fit in found.fit.fits],
        "assumed": list(found.assumed),
        "picture": str(found.path),
    }


def _fit(fit: CauseFit, found: Explanation) -> dict[str, Any]:
    return {
        "cause": fit.cause.value,
        "label": fit.cause.label.value,
        "misfit": fit.misfit,
        "fits": fit in found.possible,
        "centre_mm": fit.centre_mm,
        "travel_reversed": fit.mirrored,
        "face": fit.flaw.side.value,
        "sizes": {size.value: value for size, value in fit.flaw.sizes.items()},
        "ranges": {size.value: list(ends) for size, ends in fit.ranges.items()},
    }


def _print(found: Explanation, root: Path) -> None:
    from seamtell.pipeline.report.explain_figure import finding_sentence
    from seamtell.pipeline.report.explained_words import FIT_LABEL, cause_words, flaw_words, range_words

    place = f"{found.indication.start_mm:.1f} to {found.indication.end_mm:.1f} mm"
    console.say(finding_sentence(found))
    console.say(f"Indication {found.indication.indication} of seam {found.seam_id}, {place}: {FIT_LABEL}.")
    console.say()
    console.print_table(
        (
            "explanation",
            "misfit",
            "fits",
            "best simulated flaw",
            "centre (mm)",
            "sizes that fit almost as well",
        ),
        (
            (
                cause_words(fit.cause),
                f"{fit.misfit:.2f}",
                "yes" if fit in found.possible else "no",
                flaw_words(fit.flaw),
                f"{fit.centre_mm:.1f}",
                range_words(fit.ranges) if fit in found.possible else "",
            )
            for fit in found.fit.fits
        ),
        right=("misfit", "centre (mm)"),
    )
    console.say(
        f"Misfit 1: as close as noise and theory allow; up to {found.fit.allowed_misfit:.2f} fits almost as "
        f"well as the best. p = {found.fit.p_value:.3f}: share of simulated flaws outside the table that "
        "fit as badly."
    )
    console.say(f"Assumed: {'; '.join(found.assumed)}.")
    console.caution()
    if found.path is not None:
        inside = found.path.is_relative_to(root)
        console.next_step(f"open {found.path.relative_to(root) if inside else found.path}")
