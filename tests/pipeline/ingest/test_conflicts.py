from __future__ import annotations

import numpy as np
import pytest

from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.store.conflicts import Keep, keep_conflict


@pytest.fixture
def clash(shop):
    shop.take(shop.write(shop.text(rows=shop.rows(seed=1)), "first.csv"))
    shop.write(shop.text(seam_id="S0"), "other.csv")
    shop.take(shop.write(shop.text(rows=shop.rows(seed=2)), "second.csv"), shop.inbox / "other.csv")
    return shop


def specular(shop, seed):
    return np.array([float(row.split(",")[1]) for row in shop.rows(seed=seed)], dtype=np.float32)


def kept_bytes(shop):
    return {row.sha256: (shop.ws.rejected_dir / "files" / row.sha256).read_bytes() for row in shop.rejected()}


def test_keeping_the_stored_content_leaves_the_store_and_settles_the_conflict(clash):
    settled = keep_conflict(clash.ws, "S1", Keep.STORED)
    assert settled.settled == 1
    assert clash.store.conflicts() == frozenset()
    np.testing.assert_array_equal(clash.store.get("S1").amplitudes_pct["specular"], specular(clash, 1))
    assert (clash.inbox / "second.csv").read_bytes() in kept_bytes(clash).values()


def test_keeping_the_incoming_content_swaps_it_and_keeps_the_loser(clash):
    keep_conflict(clash.ws, "S1", Keep.INCOMING)
    assert clash.store.conflicts() == frozenset()
    assert sorted(trace.seam_id for trace in clash.store.iter_traces()) == ["S0", "S1"]
    np.testing.assert_array_equal(clash.store.get("S1").amplitudes_pct["specular"], specular(clash, 2))
    loser = next(row for row in clash.rejected() if row.source == "seam store")
    assert loser.status == "resolved"
    from io import BytesIO

    import pyarrow.parquet as pq

    table = pq.read_table(BytesIO(kept_bytes(clash)[loser.sha256]))
    np.testing.assert_array_equal(table.column("ch_specular")[0].as_py(), specular(clash, 1))


@pytest.mark.parametrize("keep", list(Keep))
def test_a_settled_conflict_does_not_open_again(clash, keep):
    keep_conflict(clash.ws, "S1", keep)
    report = clash.take()
    assert (report.added, report.unchanged, report.conflicts, report.rows) == (0, 3, 0, ())
    assert clash.store.conflicts() == frozenset()


def test_a_seam_without_a_conflict_is_an_error(clash):
    with pytest.raises(BadInput, match="no open conflict on seam 'S0'"):
        keep_conflict(clash.ws, "S0", Keep.STORED)


def test_of_several_incoming_contents_one_must_be_named(clash):
    clash.take(clash.write(clash.text(rows=clash.rows(seed=3)), "third.csv"))
    with pytest.raises(BadInput, match="2 incoming contents match"):
        keep_conflict(clash.ws, "S1", Keep.INCOMING)
    third = next(row for row in clash.rejected() if row.source.endswith("third.csv"))
    settled = keep_conflict(clash.ws, "S1", Keep.INCOMING, third.content_sha256[:10])
    assert settled.settled == 2
    np.testing.assert_array_equal(clash.store.get("S1").amplitudes_pct["specular"], specular(clash, 3))
