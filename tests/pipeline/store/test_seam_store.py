from __future__ import annotations

import json
import math
import tempfile
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from seamtell.features.contracts import SeamTrace
from seamtell.pipeline.errors import BadInput, StorageProblem
from seamtell.pipeline.store.manifest import read_manifest
from seamtell.pipeline.store.rows import content_sha256
from seamtell.pipeline.store.seam_store import METADATA_COLUMNS, SeamStore
from seamtell.pipeline.store.writer import StoreWriter


def trace(seam_id="S1", hours=0, line="L1", seed=0, n=50, **changes) -> SeamTrace:
    rng = np.random.default_rng(seed)
    made = SeamTrace(
        seam_id=seam_id,
        welded_at=datetime(2026, 1, 30, tzinfo=UTC) + timedelta(hours=hours),
        line=line,
        recipe="R1",
        start_mm=0.0,
        pitch_mm=0.25,
        amplitudes_pct={
            "specular": rng.uniform(6, 8, n).astype(np.float32),
            "scatter": rng.uniform(0, 1, n).astype(np.float32),
        },
    )
    return replace(made, **changes)


def filled(folder: Path, *traces: SeamTrace, commit_every: int = 1000) -> SeamStore:
    writer = StoreWriter(folder)
    for item in traces:
        writer.add(item, "a.csv")
        if writer.n_waiting >= commit_every:
            writer.commit()
    writer.commit()
    return SeamStore(folder)


def assert_same(got: SeamTrace, wanted: SeamTrace) -> None:
    for name in ("seam_id", "welded_at", "line", "recipe", "start_mm", "pitch_mm", "coil", "shift"):
        assert getattr(got, name) == getattr(wanted, name), name
    for name in ("thickness_a_mm", "thickness_b_mm", "speed_m_per_min"):
        ours, theirs = getattr(got, name), getattr(wanted, name)
        assert ours == theirs or (math.isnan(ours) and math.isnan(theirs)), name
    assert dict(got.extra) == dict(wanted.extra)
    assert set(got.amplitudes_pct) == set(wanted.amplitudes_pct)
    for channel, values in wanted.amplitudes_pct.items():
        np.testing.assert_array_equal(got.amplitudes_pct[channel], values)


printable = st.text(st.characters(exclude_categories=("C", "Z")), min_size=1, max_size=30)
sizes = st.one_of(st.just(math.nan), st.floats(0.1, 20))


@st.composite
def traces(draw) -> SeamTrace:
    n = draw(st.integers(1, 40))
    channels = ["specular", "scatter", *draw(st.lists(st.sampled_from(["b", "c_2"]), unique=True))]
    amplitude = hnp.arrays(np.float32, n, elements=st.floats(0, 100, width=32))
    return SeamTrace(
        seam_id=draw(printable),
        welded_at=draw(st.datetimes(datetime(1970, 1, 2), datetime(2199, 1, 1), timezones=st.just(UTC))),
        line=draw(printable),
        recipe=draw(printable),
        start_mm=draw(st.floats(-1000, 1000)),
        pitch_mm=draw(st.floats(0.01, 10)),
        amplitudes_pct={channel: draw(amplitude) for channel in channels},
        coil=draw(st.one_of(st.just(""), printable)),
        shift=draw(st.one_of(st.just(""), printable)),
        thickness_a_mm=draw(sizes),
        thickness_b_mm=draw(sizes),
        speed_m_per_min=draw(sizes),
        extra=draw(st.dictionaries(printable, printable, max_size=3)),
    )


@settings(deadline=None, max_examples=15)
@given(st.lists(traces(), min_size=1, max_size=6, unique_by=lambda item: item.seam_id))
def test_what_goes_in_comes_out_unchanged(items):
    with tempfile.TemporaryDirectory() as folder:
        store = filled(Path(folder) / "traces", *items, commit_every=2)
        for item in items:
            assert_same(store.get(item.seam_id), item)
        assert len(store.metadata()) == len(items)


def test_traces_stream_in_order_of_welding_over_many_parts(tmp_path):
    rng = np.random.default_rng(3)
    items = [trace(f"S{i:03}", hours=int(rng.integers(0, 2000)), line=f"L{i % 3}", n=5) for i in range(700)]
    store = filled(tmp_path / "traces", *items, commit_every=150)
    wanted = [item.seam_id for item in sorted(items, key=lambda item: (item.welded_at, item.seam_id))]
    assert [item.seam_id for item in store.iter_traces()] == wanted
    assert list(store.metadata()["seam_id"]) == wanted
    some = {"S007", "S500", "S650", "S123"}
    assert [item.seam_id for item in store.iter_traces(some)] == [name for name in wanted if name in some]


def test_metadata_has_the_stated_columns_and_utc_times(tmp_path):
    east = timezone(timedelta(hours=9))
    item = trace(welded_at=datetime(2026, 2, 1, 3, tzinfo=east), extra={"heat": "H1", "line": "x"})
    frame = filled(tmp_path / "traces", item, trace("S2")).metadata()
    assert tuple(frame.columns) == (*METADATA_COLUMNS, "heat", "extra_line")
    row = frame[frame["seam_id"] == "S1"].iloc[0]
    assert row["welded_at"] == pd.Timestamp("2026-01-31T18:00:00Z")
    assert (row["month"], row["heat"], row["extra_line"], row["n_samples"]) == ("2026-01", "H1", "x", 50)
    assert frame[frame["seam_id"] == "S2"].iloc[0]["heat"] == ""


def test_an_empty_store_has_the_same_columns_and_types(tmp_path):
    empty = SeamStore(tmp_path / "traces").metadata()
    full = filled(tmp_path / "other", trace()).metadata()
    assert dict(empty.dtypes) == dict(full.dtypes)
    assert list(SeamStore(tmp_path / "traces").iter_traces()) == []


def test_an_unknown_seam_is_an_error(tmp_path):
    store = filled(tmp_path / "traces", trace())
    with pytest.raises(BadInput, match="no seam 'S9' in the store"):
        store.get("S9")


def test_a_store_sees_what_was_committed_after_it_was_opened(tmp_path):
    store = filled(tmp_path / "traces", trace("S1"))
    assert len(store.metadata()) == 1
    filled(tmp_path / "traces", trace("S2"))
    assert len(store.metadata()) == 2
    assert store.get("S2").seam_id == "S2"


def test_a_seam_cannot_be_added_twice(tmp_path):
    filled(tmp_path / "traces", trace())
    with pytest.raises(BadInput, match="in the store already"):
        StoreWriter(tmp_path / "traces").add(trace(seed=1), "b.csv")


def test_the_content_digest_follows_every_part_of_the_contract():
    base = trace(thickness_a_mm=1.5, extra={"a": "b"})
    changed = [
        replace(base, seam_id="other"),
        replace(base, welded_at=base.welded_at + timedelta(microseconds=1)),
        replace(base, thickness_a_mm=1.6),
        replace(base, pitch_mm=0.5),
        replace(base, extra={"a": "c"}),
        replace(base, amplitudes_pct={**base.amplitudes_pct, "third": base.amplitudes_pct["scatter"]}),
        replace(
            base,
            amplitudes_pct={
                **base.amplitudes_pct,
                "scatter": np.nextafter(base.amplitudes_pct["scatter"], np.float32(200)),
            },
        ),
    ]
    digests = {content_sha256(item) for item in [base, *changed]}
    assert len(digests) == len(changed) + 1
    same_time = replace(base, welded_at=base.welded_at.astimezone(timezone(timedelta(hours=2))))
    assert content_sha256(same_time) == content_sha256(base)


def test_the_store_is_partitioned_by_line_and_month_with_safe_names(tmp_path):
    filled(tmp_path / "traces", trace("S1", line="A/1"), trace("S2", hours=72, line=".." + "ü" * 150))
    places = sorted(
        path.parent.relative_to(tmp_path / "traces").as_posix() for path in tmp_path.rglob("*.parquet")
    )
    assert "line=A%2F1/month=2026-01" in places
    assert all(len(part) < 255 for place in places for part in place.split("/"))


def test_many_small_commits_do_not_leave_as_many_parts(tmp_path):
    items = [trace(f"S{i:03}", n=5, extra={"i": str(i)}) for i in range(290)]
    store = filled(tmp_path / "traces", *items, commit_every=29)
    assert len(read_manifest(tmp_path / "traces").parts) == 2
    for item in items:
        assert_same(store.get(item.seam_id), item)


def test_a_reader_that_began_before_small_parts_were_joined_still_finishes(tmp_path):
    store = filled(tmp_path / "traces", *(trace(f"S{i}", hours=i) for i in range(5)))
    stream = store.iter_traces()
    next(stream)
    filled(tmp_path / "traces", trace("late", hours=9))
    assert len(list(stream)) == 4


def test_a_damaged_manifest_is_one_line_with_advice(tmp_path):
    store = filled(tmp_path / "traces", trace())
    (tmp_path / "traces" / "manifest.json").write_text("{")
    with pytest.raises(StorageProblem, match="manifest of the seam store is damaged"):
        store.metadata()


def test_a_missing_part_is_one_line_with_advice(tmp_path):
    store = filled(tmp_path / "traces", trace())
    (part,) = tmp_path.rglob("*.parquet")
    part.unlink()
    with pytest.raises(StorageProblem, match="missing or damaged"):
        list(store.iter_traces())


def test_the_manifest_counts_what_the_parts_hold(tmp_path):
    store = filled(tmp_path / "traces", *(trace(f"S{i}", hours=i) for i in range(5)), commit_every=2)
    document = json.loads((tmp_path / "traces" / "manifest.json").read_text())
    assert document["schema_version"] == 1
    assert sum(part["seams"] for part in document["parts"]) == len(store) == 5
