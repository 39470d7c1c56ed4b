"""Units on a cluster: the same bytes as one process, also when workers die."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pyarrow as pa
import pytest

from seamtell.pipeline.beyond.cluster_run import OnCluster
from seamtell.pipeline.classify import classify
from seamtell.pipeline.describe import describe
from seamtell.pipeline.errors import ClusterProblem, StorageProblem
from seamtell.pipeline.files.places import Place
from seamtell.pipeline.store.manifest import read_manifest
from seamtell.pipeline.store.row_groups import Chunk, SeamRows, row_groups_of
from seamtell.pipeline.streaming.job import BatchResult, Sums
from seamtell.pipeline.streaming.unfinished import open_unfinished
from seamtell.pipeline.streaming.units import WorkUnit, units_of
from seamtell.pipeline.workspace import Workspace

NOW = datetime(2026, 5, 4, 3, 2, 1, tzinfo=UTC)
Files = Callable[[Path | Place], dict[str, bytes]]


@pytest.fixture(scope="module")
def described(shop: Workspace, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What one process describes."""
    out = tmp_path_factory.mktemp("one process") / "described"
    describe(shop, out, unit_seams=10)
    return out


def test_described_seams_are_those_of_one_process_to_the_byte(
    shop: Workspace, described: Path, client: Any, tmp_path: Path, files: Files
) -> None:
    told: list[int] = []
    describe(shop, tmp_path / "out", unit_seams=10, run=OnCluster(client), on_seams=told.append)
    assert files(tmp_path / "out") == files(described)
    assert sum(told) == 96


def test_decisions_are_those_of_one_process_to_the_byte(
    shop: Workspace, client: Any, tmp_path: Path, files: Files
) -> None:
    classify(shop, out=tmp_path / "one", unit_seams=10, now=NOW)
    classify(shop, out=tmp_path / "many", unit_seams=10, run=OnCluster(client), now=NOW)
    assert files(tmp_path / "many") == files(tmp_path / "one")


def test_store_and_result_may_lie_in_an_object_store(
    shop: Workspace, described: Path, store_in_bucket: Place, bucket: Place, client: Any, files: Files
) -> None:
    out = bucket / "described"
    describe(shop, out, store=store_in_bucket, unit_seams=10, run=OnCluster(client))
    assert files(out) == files(described)


def test_one_process_may_read_and_write_an_object_store_too(
    shop: Workspace, described: Path, store_in_bucket: Place, bucket: Place, files: Files
) -> None:
    out = bucket / "described-by-one"
    describe(shop, out, store=store_in_bucket, unit_seams=10)
    assert files(out) == files(described)


def test_a_worker_that_is_killed_in_the_middle_costs_time_only(
    shop: Workspace, described: Path, client: Any, tmp_path: Path, files: Files
) -> None:
    victim = next(iter(client.run(os.getpid).values()))
    killed: list[int] = []

    def kill_once(_: int) -> None:
        if not killed:
            os.kill(victim, signal.SIGKILL)
            killed.append(victim)

    describe(shop, tmp_path / "out", unit_seams=10, run=OnCluster(client), on_seams=kill_once)
    assert killed
    assert files(tmp_path / "out") == files(described)


def test_a_run_that_is_stopped_is_gone_on_with_by_one_process(
    shop: Workspace, described: Path, client: Any, tmp_path: Path, files: Files
) -> None:
    def stop(_: int) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        describe(shop, tmp_path / "out", unit_seams=10, run=OnCluster(client), on_seams=stop)
    assert not (tmp_path / "out").exists()
    assert len(list(tmp_path.glob(".unfinished-describe-*/.units/*.json"))) == 1
    describe(shop, tmp_path / "out", unit_seams=10)
    assert files(tmp_path / "out") == files(described)


class Nothing(Sums):
    def plus(self, other: Nothing) -> Nothing:
        return other


@dataclass(frozen=True)
class Hurting:
    """Kills the worker over one seam, or finds no memory for it."""

    how: str
    inputs: dict[str, Any] = field(default_factory=dict)

    @property
    def tables(self) -> Mapping[str, pa.Schema]:
        return {}

    @property
    def sums(self) -> type[Nothing]:
        return Nothing

    def work(self, rows: SeamRows) -> BatchResult[Nothing]:
        if self.how == "killed":
            os.kill(os.getpid(), signal.SIGKILL)
        raise MemoryError("no memory")


def test_a_unit_that_kills_every_worker_is_named_with_what_to_do(
    shop: Workspace, cluster: Any, client: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cluster.scheduler, "allowed_failures", 0)  # a tried worker takes seconds to come back
    units = list(units_of(row_groups_of(shop.traces_dir, read_manifest(shop.traces_dir).parts[:1])))
    with (
        open_unfinished(tmp_path, "hurt", "k", Hurting("killed")) as unfinished,
        pytest.raises(ClusterProblem, match=r"unit 0 \(.* 1 workers died over it.* To do: .*--memory-limit"),
    ):
        list(OnCluster(client)(Hurting("killed"), units, unfinished, on_seams=lambda _: None))


def test_a_worker_without_memory_is_told_as_such(shop: Workspace, client: Any, tmp_path: Path) -> None:
    units = list(units_of(row_groups_of(shop.traces_dir, read_manifest(shop.traces_dir).parts[:1])))
    with (
        open_unfinished(tmp_path, "hurt", "k", Hurting("memory")) as unfinished,
        pytest.raises(ClusterProblem, match=r"unit 0 .* out of memory"),
    ):
        list(OnCluster(client)(Hurting("memory"), units, unfinished, on_seams=lambda _: None))


def test_a_part_that_a_worker_does_not_find_is_named(client: Any, tmp_path: Path) -> None:
    gone = WorkUnit(0, (Chunk(tmp_path / "gone.parquet", (0,), (5,), 0),))
    with (
        open_unfinished(tmp_path, "hurt", "k", Hurting("memory")) as unfinished,
        pytest.raises(StorageProblem, match=r"gone\.parquet: a part of the seam store is missing"),
    ):
        list(OnCluster(client)(Hurting("memory"), [gone], unfinished, on_seams=lambda _: None))
