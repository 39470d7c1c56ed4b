"""The limit rule over a batch says of each seam what `apply_limit_rule` says of it alone."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seamtell.features.contracts import RecipeLimits, SeamTrace
from seamtell.features.trace_batch import TraceBatch
from seamtell.models.limit_rule import LimitResult, apply_limit_rule
from seamtell.models.limit_rule_batch import LIMIT_REASONS, LimitResults, apply_limit_rule_to_batch
from seamtell.models.verdict import Verdict

WHEN = datetime(2026, 1, 1, tzinfo=UTC)
R1 = RecipeLimits("R1", {"specular": 20.0, "scatter": 5.0}, 5.0, 5.0, 9.0)
ODD_NUMBERS = [np.nan, np.inf, -np.inf, -1.0, 1e39, 1e300, 0.0, 3.4028235e38]


def seam(recipe: str, amplitudes: dict[str, np.ndarray], pitch_mm: float = 0.5) -> SeamTrace:
    return SeamTrace("S", WHEN, "L", recipe, 0.0, pitch_mm, amplitudes)


def quiet(n: int = 100, **more: float) -> dict[str, np.ndarray]:
    return {
        "specular": np.full(n, 4.0, np.float32),
        "scatter": np.full(n, 1.0, np.float32),
        **{name: np.full(n, height, np.float32) for name, height in more.items()},
    }


def both(traces: list[SeamTrace], limits: dict[str, RecipeLimits]) -> LimitResults:
    """Judge the batch, after checking that it says what the rule says of each seam."""
    results = apply_limit_rule_to_batch(TraceBatch.of_traces(traces), limits)
    alone = [apply_limit_rule(trace, limits.get(trace.recipe)) for trace in traces]
    assert [results.row(i) for i in range(len(traces))] == alone
    return results


def random_limits(rng: np.random.Generator, name: str) -> RecipeLimits | None:
    if rng.random() < 0.1:
        return None
    channels = ["specular", "scatter"] if rng.random() < 0.9 else ["specular"]
    channels += ["third"] if rng.random() < 0.3 else []
    limit_pct = {channel: float(rng.choice([5.0, 12.1, 33.3, 60.0, 100.0])) for channel in channels}
    limits = RecipeLimits(name, limit_pct, *rng.choice([0.0, 0.3, 2.0, 5.0, 40.0], 2).tolist(), 9.0)
    if rng.random() < 0.15:
        limit_pct[channels[-1]] = float(rng.choice(ODD_NUMBERS))
    if rng.random() < 0.1:
        limits = replace(limits, dead_zone_end_mm=float(rng.choice(ODD_NUMBERS)))
    return limits


def random_trace(rng: np.random.Generator, recipe: str) -> SeamTrace:
    n = int(rng.integers(1, 70))
    amplitudes = {
        name: (rng.random(n) * rng.choice([4.0, 5.1, 13.0, 34.0, 101.0])).astype(np.float32)
        for name in ("specular", "scatter", "third")
    }
    pitch_mm = float(rng.choice([0.1, 0.25, 0.5, 1.0]))
    if rng.random() < 0.3:  # exactly at a limit as stored, or at full screen height
        name = str(rng.choice(list(amplitudes)))
        amplitudes[name][rng.integers(n)] = rng.choice([5.0, 12.1, 33.3, 60.0, 100.0, 99.99])
    if rng.random() < 0.1:
        name = str(rng.choice(list(amplitudes)))
        amplitudes[name][rng.integers(n)] = rng.choice(np.array([np.nan, np.inf, -np.inf], np.float32))
    if rng.random() < 0.3:
        del amplitudes["third"]
    if rng.random() < 0.05:
        del amplitudes[str(rng.choice(list(amplitudes)))]
    if rng.random() < 0.1:
        name = str(rng.choice(list(amplitudes)))
        amplitudes[name] = amplitudes[name][: rng.integers(n)]
    if rng.random() < 0.05:
        pitch_mm = float(rng.choice([0.0, -0.5, np.nan, np.inf, 5e-324, 1e300]))
    return seam(recipe, amplitudes, pitch_mm)


def test_over_random_batches_every_seam_is_judged_as_it_is_alone() -> None:
    rng = np.random.default_rng(2026)
    seen: list[LimitResult] = []
    for _ in range(120):
        limits = {f"R{i}": random_limits(rng, f"R{i}") for i in range(4)}
        traces = [random_trace(rng, f"R{rng.integers(5)}") for _ in range(int(rng.integers(0, 50)))]
        results = both(traces, {name: one for name, one in limits.items() if one is not None})
        seen += [results.row(i) for i in range(len(results))]
    assert {one.reason for one in seen} == {"", *LIMIT_REASONS}
    assert {one.exceeded_channels for one in seen} >= {(), ("scatter", "specular", "third"), ("third",)}
    assert 0.04 < np.mean([one.verdict is Verdict.ACCEPT for one in seen]) < 0.9


@settings(max_examples=150, deadline=None)
@given(
    seams=st.lists(
        st.lists(
            st.tuples(
                *[st.floats(0, 110, width=32) | st.sampled_from([float("nan"), float("inf"), 12.1])] * 2
            ),
            max_size=12,
        ),
        max_size=5,
    ),
    limit=st.tuples(*[st.floats(0, 110) | st.sampled_from([12.1, 1e39])] * 2),
    dead=st.tuples(*[st.floats(0, 4)] * 2),
    pitch_mm=st.floats(0.05, 2),
)
def test_whatever_is_drawn_every_seam_is_judged_as_it_is_alone(seams, limit, dead, pitch_mm) -> None:
    limits = {"R": RecipeLimits("R", dict(zip(("specular", "scatter"), limit, strict=True)), *dead, 9.0)}
    traces = []
    for samples in seams:
        table = np.array(samples, dtype=np.float32).reshape(-1, 2)
        traces.append(seam("R", {"specular": table[:, 0], "scatter": table[:, 1]}, pitch_mm))
    both(traces, limits)


def test_seams_of_several_recipes_and_lengths_lie_side_by_side() -> None:
    strict = replace(R1, recipe="R2", limit_pct={"specular": 3.0, "scatter": 5.0})
    traces = [seam("R1", quiet()), seam("R2", quiet(60)), seam("R9", quiet()), seam("R1", quiet(20))]
    results = both(traces, {"R1": R1, "R2": strict})
    assert [results.row(i).reason for i in range(4)] == [
        "",
        "above_limit",
        "no_limits_for_recipe",
        "nothing_judged",
    ]


@pytest.mark.parametrize(
    ("index", "verdict"), [(9, "accept"), (10, "reject"), (89, "reject"), (90, "accept")]
)
def test_the_edges_of_the_dead_zones_are_where_the_rule_has_them(index: int, verdict: str) -> None:
    amplitudes = quiet()
    amplitudes["scatter"][index] = 50.0
    assert both([seam("R1", amplitudes)], {"R1": R1}).row(0).verdict.text == verdict


def test_a_limit_on_a_channel_that_no_seam_has_rejects_them_all() -> None:
    limits = {"R1": replace(R1, limit_pct={**R1.limit_pct, "third": 2.0})}
    results = both([seam("R1", quiet())] * 2, limits)
    assert [results.row(i).reason for i in range(2)] == ["missing_channel"] * 2


def test_a_quotient_that_overflows_covers_the_whole_seam() -> None:
    limits = {"R1": replace(R1, dead_zone_start_mm=1e300)}
    assert both([seam("R1", quiet(), pitch_mm=1e-300)], limits).row(0).reason == "nothing_judged"


def test_a_seam_that_is_not_wholly_in_the_buffer_is_rejected() -> None:
    batch = TraceBatch.of_traces([seam("R1", quiet())] * 2)
    cut = replace(batch, values=tuple(values[:-1] for values in batch.values))
    results = apply_limit_rule_to_batch(cut, {"R1": R1})
    assert [results.row(i).reason for i in range(2)] == ["", "missing_channel"]


def test_amplitudes_that_cannot_be_written_are_judged_too() -> None:
    batch = TraceBatch.of_traces([seam("R1", quiet())])
    for values in batch.values:
        values.setflags(write=False)
    assert apply_limit_rule_to_batch(batch, {"R1": R1}).verdicts.tolist() == [Verdict.ACCEPT]


def test_no_seams_give_no_results() -> None:
    assert len(both([], {"R1": R1})) == 0


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"verdicts": np.array([1, 2], np.int8)}, "accepts or rejects"),
        ({"verdicts": np.array([0, 0], np.int8)}, "names channels|has a reason"),
        ({"reason_codes": np.array([-1, -1], np.int8)}, "has a reason when it rejects"),
        ({"reason_codes": np.array([-1, 6], np.int8)}, "has a reason when it rejects"),
        ({"exceeded": np.ones((2, 1), bool)}, "names channels only when it rejects"),
        ({"exceeded": np.ones((2, 2), bool)}, "other 'exceeded' than bool"),
        ({"verdicts": np.array([0, 2])}, "other 'verdicts' than int8"),
        ({"verdicts": np.ma.array([0, 2], dtype=np.int8)}, "other 'verdicts' than int8"),
    ],
)
def test_contradictory_limit_results_cannot_be_made(change: dict, message: str) -> None:
    fields = {
        "channels": ("scatter",),
        "verdicts": np.array([0, 2], np.int8),
        "exceeded": np.array([[False], [True]]),
        "reason_codes": np.array([-1, 5], np.int8),
    }
    LimitResults(**fields)
    with pytest.raises(ValueError, match=message):
        LimitResults(**{**fields, **change})
