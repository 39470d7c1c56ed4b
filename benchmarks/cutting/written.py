"""Figures and words of the campaigns."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Any

import numpy as np

from seamtell.features.contracts import Flaw

__all__ = ["saved_share", "summary", "written"]

_DRAWS = 4000


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
    planned = [pairs[key]["planned"]["sections"] for key in keys]
    random = [pairs[key]["random"]["sections"] for key in keys]
    first = 60
    of = [shop for shop, _ in keys]
    z = np.array([np.divide(shop["totals_bias"], shop["totals_se"]) for shop in shops])
    last = {
        arm: dict(Counter(name for key in keys for name in pairs[key][arm]["last_failed"]).most_common())
        for arm in ("planned", "random")
    }
    return {
        "campaigns": len(keys),
        "shops": len(shops),
        "passed": {arm: sum(pairs[key][arm]["passed"] for key in keys) for arm in ("planned", "random")},
        "median_sections": {"planned": float(np.median(planned)), "random": float(np.median(random))},
        "mean_sections": {"planned": float(np.mean(planned)), "random": float(np.mean(random))},
        "fewer_in": sum(a < b for a, b in zip(planned, random, strict=True)),
        "equal_in": sum(a == b for a, b in zip(planned, random, strict=True)),
        "saved_of_all": saved_share(planned, random, of),
        "saved_after_first": saved_share([n - first for n in planned], [n - first for n in random], of),
        "last_failed": last,
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


def written(found: dict[str, Any]) -> str:
    """The figures as a page."""
    return "\n".join([*_saved(found), *_fairness(found), ""])


def _saved(found: dict[str, Any]) -> list[str]:
    mean, median, last = found["mean_sections"], found["median_sections"], found["last_failed"]
    share = found["share_of_length"]
    rows = [
        ("sections to pass, mean", f"{mean['planned']:.0f}", f"{mean['random']:.0f}"),
        ("sections to pass, median", f"{median['planned']:.0f}", f"{median['random']:.0f}"),
        ("campaigns that passed", found["passed"]["planned"], found["passed"]["random"]),
        ("held up by, one round before the end", _listed(last["planned"]), _listed(last["random"])),
    ]
    return [
        "# Planned cuts against random ones",
        "",
        f"{found['campaigns']} campaigns in {found['shops']} invented shops. Each begins with 60 sections at",
        "random indications, then cuts 30 at a time, 6 of them at random along the seams, until the criteria",
        "that `seamtell init` writes hold (those that indications can meet), at most 480. The model is the",
        "logistic candidate, taught anew each time. The random arm draws among indications; cuts at random",
        f"along the seams meet one in {share:.1%} of cases and would need that many times more.",
        "",
        "| | planned | random among indications |",
        "| --- | ---: | ---: |",
        *(f"| {name} | {a} | {b} |" for name, a, b in rows),
        "",
        f"Sections saved: {_interval(found['saved_of_all'])}; of those after the first 60:",
        f"{_interval(found['saved_after_first'])}. Planned was shorter in",
        f"{found['fewer_in']} campaigns, equal in {found['equal_in']}. Campaigns that",
        "gave up count with what they had cut.",
        "",
    ]


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
