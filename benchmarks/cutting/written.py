"""Figures and words of the campaigns."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Any

import numpy as np

from seamtell.features.contracts import Flaw

__all__ = ["saved_share", "summary", "written"]

_DRAWS = 4000
_ARMS = ("planned", "random", "along")
_FIRST = 60


def saved_share(planned: Sequence[float], random: Sequence[float], groups: Sequence[int]) -> dict[str, Any]:
    """Share of sections saved, one less the ratio of the means, with its interval over whole shops.

    Parameters
    ----------
    planned, random : sequences of length n
        Sections of each campaign.
    groups : sequence of int
        Shop of each campaign: drawn as a whole in the bootstrap (percentiles).
    """
    a, b, of = np.asarray(planned, float), np.asarray(random, float), np.asarray(groups)
    names = np.unique(of)
    sums = np.array([[a[of == name].sum(), b[of == name].sum()] for name in names])
    drawn = np.random.default_rng(1).integers(len(names), size=(_DRAWS, len(names)))
    ratios = 1 - sums[drawn, 0].sum(axis=1) / sums[drawn, 1].sum(axis=1)
    low, high = np.quantile(ratios, [0.025, 0.975])
    return {"estimate": float(1 - a.sum() / b.sum()), "low": float(low), "high": float(high), "n": len(a)}


def summary(shops: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """What came out over all shops."""
    pairs: dict[tuple[int, int], dict[str, Any]] = {}
    for shop in shops:
        for one in shop["campaigns"]:
            pairs.setdefault((shop["shop"], one["seed"]), {})[one["arm"]] = one
    keys = sorted(pairs)
    of = [shop for shop, _ in keys]
    z = np.array([np.divide(shop["totals_bias"], shop["totals_se"]) for shop in shops])
    return {
        "campaigns": len(keys),
        "shops": len(shops),
        "as_counted": _arms([pairs[key] for key in keys], of, "as_counted", "passed_as_counted"),
        "weighed": _arms([pairs[key] for key in keys], of, "sections", "passed"),
        "last_failed": {
            arm: dict(Counter(name for key in keys for name in pairs[key][arm]["last_failed"]).most_common())
            for arm in _ARMS
        },
        "flattery": {arm: _mean([pairs[key][arm]["flattery"] for key in keys]) for arm in _ARMS},
        "share_of_length": float(np.mean([shop["share_of_length"] for shop in shops])),
        "fairness": [
            {
                "class": flaw.value,
                "truth": float(np.mean([shop["truth"][k] for shop in shops])),
                "totals_bias": float(np.mean([shop["totals_bias"][k] for shop in shops])),
                "totals_se": float(
                    np.sqrt(np.mean(np.square([shop["totals_se"][k] for shop in shops])) / len(shops))
                ),
                "weighed_bias": float(np.mean([shop["weighed_bias"][k] for shop in shops])),
                "plain_bias": float(np.mean([shop["plain_bias"][k] for shop in shops])),
                "plain_bias_mean_size": float(np.mean(np.abs([shop["plain_bias"][k] for shop in shops]))),
                "covered": float(np.mean([shop["covered"][k] for shop in shops])),
            }
            for k, flaw in enumerate(Flaw)
        ],
        "largest_z": float(np.abs(z).max()),
        "chi_square_per_figure": float(np.mean(z**2)),
    }


def _arms(pairs: Sequence[dict[str, Any]], of: Sequence[int], sections: str, passed: str) -> dict[str, Any]:
    spent = {arm: [pair[arm][sections] for pair in pairs] for arm in _ARMS}
    after = {arm: [n - _FIRST for n in spent[arm]] for arm in _ARMS}
    planned, random = spent["planned"], spent["random"]
    return {
        "passed": {arm: sum(pair[arm][passed] for pair in pairs) for arm in _ARMS},
        "mean": {arm: float(np.mean(spent[arm])) for arm in _ARMS},
        "median": {arm: float(np.median(spent[arm])) for arm in _ARMS},
        "fewer_in": sum(a < b for a, b in zip(planned, random, strict=True)),
        "equal_in": sum(a == b for a, b in zip(planned, random, strict=True)),
        "saved": {arm: saved_share(planned, spent[arm], of) for arm in _ARMS[1:]},
        "saved_after_first": {arm: saved_share(after["planned"], after[arm], of) for arm in _ARMS[1:]},
    }


def _mean(values: Sequence[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return float(np.mean(known)) if known else None


def written(found: dict[str, Any], thin: str = "") -> str:
    """The figures as a page; `thin` names the class at a quarter of its rate."""
    return "\n".join([*_saved(found, thin), *_fairness(found), ""])


def _saved(found: dict[str, Any], thin: str) -> list[str]:
    last, share, flattery = found["last_failed"], found["share_of_length"], found["flattery"]
    counted = found["as_counted"]
    lines = [
        f"# Planned cuts against random ones{f', where {thin} is rare' if thin else ''}",
        "",
        f"{found['campaigns']} campaigns in {found['shops']} invented shops. Each begins with 60 sections at",
        "random indications, then cuts 30 at a time until the criteria that `seamtell init` writes hold",
        "(those that indications can meet). Planned and *among indications* spend 6 of 30 on the random",
        "audit and give up at 420. *Along the seams* is what purpose `random` means in a section table: such",
        f"a cut meets an indication in {share:.1%} of cases. The model is LightGBM, taught anew.",
        "",
        "*As counted*: every section counts once, as in an evaluation. *Weighed*: criteria on recall must",
        "also hold with planned sections weighed by how they were drawn, at their effective number.",
        "",
        "| sections to pass, mean (median; passed) | as counted | weighed |",
        "| --- | ---: | ---: |",
    ]
    names = {
        "planned": "planned",
        "random": "at random among indications",
        "along": "at random along the seams",
    }
    parts = (counted, found["weighed"])
    lines += [
        f"| {names[arm]} | "
        + " | ".join(
            f"{part['mean'][arm]:,.0f} ({part['median'][arm]:,.0f}; {part['passed'][arm]})" for part in parts
        )
        + " |"
        for arm in _ARMS
    ]
    for arm, name in (("random", "among indications"), ("along", "along the seams")):
        saved = " | ".join(_interval(part["saved"][arm]) for part in parts)
        lines.append(f"| saved against {name} | {saved} |")
    lines.append(
        "| the same, of those after the first 60 | "
        + " | ".join(_interval(part["saved_after_first"]["random"]) for part in parts)
        + " |"
    )
    return [
        *lines,
        "",
        "Intervals by bootstrap over shops. Campaigns that gave up count with what they had cut. As counted,",
        f"planned was shorter than among indications in {counted['fewer_in']} campaigns, equal in",
        f"{counted['equal_in']}. Held up by, one round before the end:",
        f"planned {_listed(last['planned'])}; among indications {_listed(last['random'])}.",
        "Recall of the labelled as counted, less what it is on all that was not cut, at the pass:",
        f"planned {_signed(flattery['planned'])}, among indications {_signed(flattery['random'])}.",
        "",
    ]


def _signed(value: float | None) -> str:
    return "unknown" if value is None else f"{value:+.3f}"


def _fairness(found: dict[str, Any]) -> list[str]:
    return [
        "## Are weighed figures unbiased?",
        "",
        "Plans of 40 cuts drawn anew from the same indications, shares of each class. *Totals* is",
        "Horvitz-Thompson over the known number; *weighed* is the ratio that the program uses.",
        "",
        "| class | truth | bias of totals ± s.e. | bias weighed | bias unweighed (mean size) | covered |",
        "| --- | ---: | ---: | ---: | ---: | ---: |",
        *(
            f"| {one['class']} | {one['truth']:.3f} | {one['totals_bias']:+.4f} ± {one['totals_se']:.4f} "
            f"| {one['weighed_bias']:+.4f} | {one['plain_bias']:+.4f} ({one['plain_bias_mean_size']:.4f}) "
            f"| {one['covered']:.3f} |"
            for one in found["fairness"]
        ),
        "",
        f"Mean square of bias over standard error: {found['chi_square_per_figure']:.2f} (1 expected without",
        f"bias), largest {found['largest_z']:.1f}. *Covered* is by 95 % intervals of the effective number.",
    ]


def _interval(one: dict[str, Any]) -> str:
    return f"{one['estimate']:.0%} [{one['low']:.0%}, {one['high']:.0%}] n = {one['n']}"


def _listed(counts: dict[str, int]) -> str:
    return ", ".join(f"{name} {n}" for name, n in counts.items()) or "nothing"
