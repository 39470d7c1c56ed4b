"""The yardstick as a Markdown table, with what is left out and why."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from math import isnan

from seamtell.data_synth.head import Head
from seamtell.data_synth.rough_yardstick import RoughComparison, compare_rough
from seamtell.data_synth.yardstick import CaseErrors, compare, model_scan_both_ways
from seamtell.data_synth.yardstick_cases import CaseFolder
from seamtell.features.errors import SeamtellError

__all__ = ["PEAK_AIM_DB", "WIDTH_AIM_PCT", "Comparison", "compare_all", "markdown"]

PEAK_AIM_DB, WIDTH_AIM_PCT = 1.0, 10.0
"""What is aimed at on both channels of every case."""


@dataclass(frozen=True)
class Comparison:
    """All channels of all cases, as the model is and with the grid's own error given to it."""

    plain: tuple[CaseErrors, ...]
    corrected: tuple[CaseErrors, ...]
    rough: tuple[RoughComparison, ...]
    left_out: Mapping[str, str]

    def beyond_aim(self, errors: Iterable[CaseErrors]) -> tuple[CaseErrors, ...]:
        """Channels beyond 1 dB on total peak or 10 % on width."""
        return tuple(
            e for e in errors if abs(e.peak_error_db) > PEAK_AIM_DB or abs(e.width_error_pct) > WIDTH_AIM_PCT
        )


def compare_all(folder: CaseFolder, head: Head) -> Comparison:
    """Compare every case of a folder."""
    exact = [case for case in folder.cases if case.roughness is None]
    plain: list[CaseErrors] = []
    corrected: list[CaseErrors] = []
    left_out = dict(folder.left_out)
    for case in exact:
        try:
            as_is, with_grid_error = model_scan_both_ways(case, head)
        except SeamtellError as error:
            left_out[case.name] = str(error)
            continue
        plain += compare(case, as_is)
        corrected += compare(case, with_grid_error)
    rough = tuple(
        found
        for case in folder.cases
        if case.roughness is not None and not case.flaws
        for found in compare_rough(case, case.roughness, head)
    )
    for case in folder.cases:
        if case.roughness is not None and case.flaws:
            left_out[case.name] = "flaws on a rough joint whose heights are not stated"
    return Comparison(tuple(plain), tuple(corrected), rough, left_out)


_HEADINGS = (
    "case",
    "channel",
    "peak, % FSH",
    "model, dB",
    "with grid error, dB",
    "above level, dB",
    "width, mm",
    "model, %",
    "with grid error, %",
    "humps",
    "model",
    "far/near, dB",
    "model",
    "complex error, %",
    "with grid error, %",
)


def markdown(comparison: Comparison) -> str:
    """Write table, exceptions and what is left out."""
    lines = [
        "| " + " | ".join(_HEADINGS) + " |",
        "| --- | --- |" + " ---: |" * (len(_HEADINGS) - 2),
        *(_row(e, c) for e, c in zip(comparison.plain, comparison.corrected, strict=True)),
        "",
        _verdict("as the model is", comparison.beyond_aim(comparison.plain), len(comparison.plain)),
        _verdict("with the grid's error", comparison.beyond_aim(comparison.corrected), len(comparison.plain)),
    ]
    lines += [_rough_line(found) for found in comparison.rough]
    lines += [f"- left out: {name}: {why}." for name, why in comparison.left_out.items()]
    return "\n".join(lines) + "\n"


def _row(e: CaseErrors, corrected: CaseErrors) -> str:
    theirs, ours = e.simulated, e.model
    cells = (
        e.name,
        e.channel.value,
        f"{theirs.peak_pct:.2f}",
        _signed(e.peak_error_db, 2),
        _signed(corrected.peak_error_db, 2),
        _signed(e.rise_error_db, 2),
        f"{theirs.width_mm:.1f}" if e.flawed else "",
        _signed(e.width_error_pct, 0),
        _signed(corrected.width_error_pct, 0),
        f"{theirs.humps}" if e.flawed else "",
        f"{ours.humps}" if e.flawed else "",
        _signed(theirs.asymmetry_db, 1) if e.flawed else "",
        _signed(ours.asymmetry_db, 1) if e.flawed else "",
        _plain(e.complex_error_pct),
        _plain(corrected.complex_error_pct),
    )
    return "| " + " | ".join(cells) + " |"


def _verdict(how: str, beyond: tuple[CaseErrors, ...], n: int) -> str:
    if not beyond:
        return (
            f"- {how}: all {n} channels within {PEAK_AIM_DB:g} dB on peak and {WIDTH_AIM_PCT:g} % on width."
        )
    named = "; ".join(
        f"{e.name} {e.channel.value} ({e.peak_error_db:+.2f} dB, width {e.width_error_pct:+.0f} %)"
        for e in beyond
    )
    within = f"{n - len(beyond)} of {n} channels within {PEAK_AIM_DB:g} dB and {WIDTH_AIM_PCT:g} %"
    return f"- {how}: {within}; beyond: {named}."


def _rough_line(found: RoughComparison) -> str:
    return (
        f"- {found.name}, {found.channel.value}: heights not stated, so compared as statistics: "
        f"ripple {found.simulated_pct:.2f} % FSH rms simulated; "
        f"{found.n_draws} random joints with {found.meaning} give {found.median_pct:.2f} "
        f"[{found.low_pct:.2f}, {found.high_pct:.2f}] (90 %)."
    )


def _signed(value: float, digits: int) -> str:
    return "" if isnan(value) else f"{value + 0.0:+.{digits}f}"


def _plain(value: float) -> str:
    return "" if isnan(value) else f"{value:.1f}"
