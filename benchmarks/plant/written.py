"""Figures and words of the invented years."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

__all__ = ["summary", "written"]


def summary(years: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """What came out over all years."""
    kinds: dict[str, Any] = {}
    for kind in ("eventful", "quiet"):
        own = [year for year in years if year["kind"] == kind]
        if own:
            kinds[kind] = {
                "years": len(own),
                "events": sum(len(year["events"]) for year in own),
                "found": sum(event["is_found"] for year in own for event in year["events"]),
                "inventions": {
                    what: sum(len(year["inventions"][what]) for year in own) for what in own[0]["inventions"]
                },
                "coverage": _coverage(own),
            }
    return kinds


def _coverage(years: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """Of all intervals, those that hold the truth: corrected and raw, of whole years and of months."""
    found = {}
    for name, whole in (("years", True), ("months", False)):
        rows = [row for year in years for row in year["mix"] if (row["period"] == "all") is whole]
        told = [row for row in rows if row["share"] is not None]
        found[name] = {
            "n": len(told),
            "corrected": sum(row["low"] <= row["truth"] <= row["high"] for row in told),
            "raw": sum(row["raw_low"] <= row["truth"] <= row["raw_high"] for row in told),
            "untold": len(rows) - len(told),
        }
    return found


def written(found: dict[str, Any], years: Sequence[dict[str, Any]]) -> str:
    """The Markdown table."""
    lines = [
        "An invented year of one plant, end to end: ingest, weekly reference checks, drift, classify, "
        "process page. Made by `python benchmarks/plant_year.py`.",
        "",
    ]
    for kind, own in found.items():
        lines += [
            f"**{own['years']} {kind} years**"
            + (f": {own['found']} of {own['events']} planted events found" if own["events"] else "")
            + "; reported and not planted: "
            + ", ".join(f"{n} {what}" for what, n in own["inventions"].items())
            + ".",
            "",
            "| 95 % intervals of shares of the indications | n | corrected hold the truth | "
            "raw hold the truth |",
            "| --- | ---: | ---: | ---: |",
        ]
        for name, one in own["coverage"].items():
            n = max(1, one["n"])
            lines.append(f"| of {name} | {one['n']} | {one['corrected'] / n:.0%} | {one['raw'] / n:.0%} |")
        lines.append("")
    for year in years:
        lines += _year(year)
    return "\n".join(lines) + "\n"


def _year(year: dict[str, Any]) -> list[str]:
    lines = [
        f"### {year['kind']} year {year['number'] + 1}: {year['seams']} seams, {year['indications']} "
        "indications",
        "",
    ]
    if year["events"]:
        lines += ["| event | planted | found | |", "| --- | --- | --- | --- |"]
        lines += [
            f"| {one['name']} | {one['planted']} | {one['found']} | {'yes' if one['is_found'] else 'NO'} |"
            for one in year["events"]
        ]
        lines.append("")
    invented = [f"{what}: {'; '.join(told)}" for what, told in year["inventions"].items() if told]
    lines += ["Not planted: " + ("; ".join(invented) if invented else "nothing") + ".", ""]
    lines.append(
        f"Ringed weeks on the charts of all lines and recipes: {year['ringed_weeks']} of "
        f"{year['charted_weeks']}. Sequences of drift begun anew: {', '.join(year['restarts']) or 'none'}."
    )
    lines.append("")
    whole = [row for row in year["mix"] if row["period"] == "all"]
    lines += ["| flaw | truth | corrected | raw label |", "| --- | ---: | ---: | ---: |"]
    for row in whole:
        corrected = (
            "unknown" if row["share"] is None else f"{row['share']:.3f} [{row['low']:.3f}, {row['high']:.3f}]"
        )
        lines.append(
            f"| {row['label'].replace('_', ' ')} | {row['truth']:.3f} | {corrected} | "
            f"{row['raw']:.3f} [{row['raw_low']:.3f}, {row['raw_high']:.3f}] |"
        )
    return [*lines, ""]
