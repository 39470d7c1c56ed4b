"""Random seams of every kind, the pathological among them, for comparing two implementations."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from functools import cache

import numpy as np
from numpy.typing import NDArray

from seamtell.data_synth.shop import invent_shop
from seamtell.data_synth.shop_plan import ShopPlan
from seamtell.features.contracts import RecipeLimits, SeamTrace

__all__ = ["RECIPES", "random_seams"]

Array = NDArray[np.float64]
Random = np.random.Generator

NOON = datetime(2026, 1, 1, 12, tzinfo=UTC)
_INVENTED = 120


def _recipes() -> dict[str, RecipeLimits]:
    both = {"specular": 20.0, "scatter": 6.0}
    rows = [
        RecipeLimits("usual", both, 15.0, 15.0, 9.4),
        RecipeLimits("no-dead-zone", both, 0.0, 0.0, 9.4),
        RecipeLimits("thin-beam", {"specular": 12.0, "scatter": 3.5}, 5.0, 8.0, 2.0),
        RecipeLimits("wide-beam", both, 20.0, 3.0, 30.0),
        RecipeLimits("all-dead", both, 400.0, 400.0, 9.4),
        RecipeLimits("one-dead-end", both, 0.0, 120.0, 6.1),
        RecipeLimits("low-limits", {"specular": 0.5, "scatter": 0.1}, 10.0, 10.0, 9.4),
        RecipeLimits("further", {**both, "backwall": 40.0}, 15.0, 15.0, 9.4),
    ]
    return {row.recipe: row for row in rows}


RECIPES = _recipes()
"""Limits by recipe; seams may also name a recipe that is not among them."""


@cache
def _invented() -> tuple[SeamTrace, ...]:
    return tuple(seam.trace for seam in invent_shop(_INVENTED, seed=3, plan=ShopPlan()).seams())


def random_seams(count: int, seed: int) -> list[SeamTrace]:
    """Seams of all kinds in turn; the same seed gives the same ones."""
    rng = np.random.default_rng(seed)
    kinds: tuple[Callable[[Random, int], SeamTrace], ...] = (
        _physical,
        _humps,
        _physical,
        _humps,
        _slow,
        _physical,
        _flat,
        _spiky,
        _humps,
        _tiny,
        _scaled,
        _flawed_all_over,
        _tied,
        _further_channels,
        _broken,
        _noise_alone,
    )
    return [kinds[i % len(kinds)](rng, i) for i in range(count)]


def _seam(
    rng: Random, i: int, specular: Array, scatter: Array, pitch_mm: float, recipe: str = ""
) -> SeamTrace:
    names = list(RECIPES)
    sheets = (1.5, 1.3) if rng.random() < 0.9 else (float("nan"), 1.3)
    return SeamTrace(
        f"R-{i}",
        NOON,
        "L1",
        names[rng.integers(len(names))] if rng.random() > 0.01 else "unknown",
        float(rng.choice([0.0, -3.2, 1234.567])),
        pitch_mm,
        {"specular": specular.astype(np.float32), "scatter": scatter.astype(np.float32)},
        thickness_a_mm=sheets[0],
        thickness_b_mm=sheets[1],
    )


def _pitch(rng: Random) -> float:
    return float(
        rng.choice([0.5, 0.4, 1.0, 0.25, 0.1, 0.05, 2.0, 5.0], p=[0.4, 0.2, 0.1, 0.1, 0.08, 0.04, 0.04, 0.04])
    )


def _physical(rng: Random, i: int) -> SeamTrace:
    """An invented seam with fresh noise, gain and direction."""
    trace = _invented()[rng.integers(_INVENTED)]
    way = -1 if rng.random() < 0.5 else 1
    gain = float(rng.uniform(0.6, 1.6))
    recipe = str(rng.choice(["usual", "no-dead-zone", "thin-beam", "one-dead-end"], p=[0.7, 0.1, 0.1, 0.1]))
    amplitudes = {
        name: np.clip(gain * values[::way] + rng.normal(0, 0.05, len(values)), 0, 100).astype(np.float32)
        for name, values in trace.amplitudes_pct.items()
    }
    return replace(trace, seam_id=f"R-{i}", recipe=recipe, amplitudes_pct=amplitudes)


def _hump(x: Array, at: float, width: float, long: float) -> Array:
    rest = np.maximum(np.abs(x - at) - long / 2.0, 0.0)
    return np.exp(-0.5 * (rest / width) ** 2)


def _humps(rng: Random, i: int) -> SeamTrace:
    """Sums of humps, plateaus and pairs of ends on a level with noise, now and then quantised."""
    pitch = _pitch(rng)
    n = int(min(rng.integers(60, 700) / pitch, 4000))
    x = pitch * np.arange(n)
    s = np.full(n, rng.uniform(2, 12)) + rng.normal(0, rng.uniform(0.01, 0.5), n)
    c = np.abs(rng.normal(0.4, rng.uniform(0.01, 0.3), n))
    for _ in range(rng.integers(0, 7)):
        at, width, long = rng.uniform(0, x[-1]), rng.uniform(1, 12), rng.choice([0.0, 0.0, 8.0, 40.0, 150.0])
        s += rng.uniform(-2, 60) * _hump(x, at, width, long)
        for end in (-0.5, 0.5) if long else (0.0,):
            c += rng.uniform(0, 25) * _hump(x, at + end * long, width, 0.0)
    if rng.random() < 0.25:
        s, c = np.round(s * 2) / 2, np.round(c * 2) / 2
    return _seam(rng, i, np.clip(s, 0, 100), np.clip(c, 0, 100), pitch)


def _slow(rng: Random, i: int) -> SeamTrace:
    """Drift, ripple, steps and coloured noise."""
    pitch = _pitch(rng)
    n = int(min(rng.integers(200, 900) / pitch, 6000))
    x = np.linspace(0, 1, n)
    walk = np.cumsum(rng.normal(0, 1, n)) / np.sqrt(n)
    s = 8 + rng.uniform(-6, 6) * x + rng.uniform(0, 3) * np.sin(2 * np.pi * rng.uniform(1, 40) * x)
    s += rng.uniform(0, 4) * walk + rng.uniform(0, 10) * (x > rng.uniform())
    c = 0.5 + rng.uniform(0, 1) * np.abs(walk[::-1])
    noise = rng.normal(0, rng.uniform(0.02, 0.4), (2, n))
    return _seam(rng, i, np.clip(s + noise[0], 0, 100), np.clip(c + noise[1], 0, 100), pitch)


def _flat(rng: Random, i: int) -> SeamTrace:
    """Constant, zero or saturated throughout, with or without a plateau."""
    n = int(rng.integers(1, 1500))
    s, c = (np.full(n, rng.choice([0.0, 7.0, 100.0])) for _ in range(2))
    if n > 40 and rng.random() < 0.5:
        s[n // 3 : n // 2] += 9.5
    return _seam(rng, i, np.minimum(s, 100), c, _pitch(rng))


def _spiky(rng: Random, i: int) -> SeamTrace:
    """Single spikes and dropouts."""
    n = int(rng.integers(300, 1500))
    s, c = rng.normal(7, 0.2, n), np.abs(rng.normal(0.3, 0.1, n))
    for channel in (s, c):
        channel[rng.integers(0, n, rng.integers(0, 12))] = rng.uniform(20, 100)
        channel[rng.integers(0, n, rng.integers(0, 6))] = 0.0
    return _seam(rng, i, np.clip(s, 0, 100), np.clip(c, 0, 100), _pitch(rng))


def _tiny(rng: Random, i: int) -> SeamTrace:
    """From one sample to less than three blocks."""
    n = int(rng.integers(1, 6) if rng.random() < 0.5 else rng.integers(6, 48))
    return _seam(rng, i, rng.uniform(0, 100, n), rng.uniform(0, 30, n), _pitch(rng))


def _scaled(rng: Random, i: int) -> SeamTrace:
    """Amplitudes far from what a head can show."""
    seam = _humps(rng, i)
    scale = float(rng.choice([1e-30, 1e-12, 1e-3, 1e3, 1e6]))
    amplitudes = {name: (values * scale).astype(np.float32) for name, values in seam.amplitudes_pct.items()}
    return replace(seam, amplitudes_pct=amplitudes)


def _flawed_all_over(rng: Random, i: int) -> SeamTrace:
    """Flaws over most of the seam."""
    n, pitch = int(rng.integers(400, 1500)), 0.5
    x = pitch * np.arange(n)
    s, c = rng.normal(7, 0.3, n), np.abs(rng.normal(0.3, 0.1, n))
    for at in np.arange(rng.uniform(5, 30), x[-1], rng.uniform(12, 40)):
        s += rng.uniform(3, 40) * _hump(x, at, 4.0, rng.choice([0.0, 10.0]))
        c += rng.uniform(1, 10) * _hump(x, at, 4.0, 0.0)
    if rng.random() < 0.3:
        s[n // 10 : -n // 10] += 15.0
    return _seam(rng, i, np.clip(s, 0, 100), np.clip(c, 0, 100), pitch)


def _tied(rng: Random, i: int) -> SeamTrace:
    """Flat tops, equal humps and equal lags, without noise."""
    n = 1000
    s, c = np.full(n, 7.0), np.full(n, 0.5)
    for at in rng.choice(np.arange(60, 940, 20), rng.integers(1, 9), replace=False):
        long = int(rng.choice([6, 12, 40]))
        s[at : at + long] = rng.choice([15.0, 30.0])
        c[at : at + 6] = c[at + long : at + long + 6] = 5.0
    return _seam(rng, i, s, c, 0.5)


def _further_channels(rng: Random, i: int) -> SeamTrace:
    """Three or four channels."""
    seam = _humps(rng, i)
    further = {"backwall": seam.amplitudes_pct["specular"][::-1].copy()}
    if rng.random() < 0.5:
        further["aside"] = (seam.amplitudes_pct["scatter"] * 2).astype(np.float32)
    return replace(seam, recipe="further", amplitudes_pct={**seam.amplitudes_pct, **further})


def _broken(rng: Random, i: int) -> SeamTrace:
    """Not finite, of two lengths, without a channel or without a sample: now one, now the other."""
    seam = _humps(rng, i)
    amplitudes = {name: values.copy() for name, values in seam.amplitudes_pct.items()}
    kind = rng.integers(5)
    if kind == 0:
        amplitudes["scatter"][rng.integers(len(amplitudes["scatter"]))] = rng.choice(
            [np.nan, np.inf, -np.inf]
        )
    elif kind == 1:
        amplitudes["scatter"] = amplitudes["scatter"][:-1]
    elif kind == 2:
        del amplitudes["scatter"]
    elif kind == 3:
        amplitudes = {name: values[:0] for name, values in amplitudes.items()}
    return replace(seam, amplitudes_pct=amplitudes)


def _noise_alone(rng: Random, i: int) -> SeamTrace:
    """Nothing but noise; one in twenty is long."""
    n = 20_000 if rng.random() < 0.05 else int(rng.integers(200, 2500))
    s, c = rng.normal(7, rng.uniform(0.01, 2.0), n), np.abs(rng.normal(0, rng.uniform(0.01, 0.5), n))
    return _seam(rng, i, np.clip(s, 0, 100), np.clip(c, 0, 100), _pitch(rng))
