"""What is refused before any work is given to workers."""

from __future__ import annotations

import socket
import time
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from typer.testing import CliRunner

from seamtell.pipeline.beyond import cluster as looked_at
from seamtell.pipeline.beyond.cluster import check_workers, local_cluster, open_cluster
from seamtell.pipeline.beyond.environment import environment
from seamtell.pipeline.beyond.unit_task import given_job
from seamtell.pipeline.cli import app
from seamtell.pipeline.console import ExitCode
from seamtell.pipeline.errors import BadInput, Refused
from seamtell.pipeline.files.places import Place
from seamtell.pipeline.store.manifest import Manifest, read_manifest
from seamtell.pipeline.workspace import Workspace


class Answering:
    """A client whose workers answer what a test wants."""

    def __init__(self, **answers: object) -> None:
        self.answers = answers

    def run(self, question: Callable[..., object], *given: object, on_error: str) -> dict[str, object]:
        assert on_error == "return"
        return {"tcp://10.0.0.7:4001": self.answers[question.__name__]}


def test_workers_of_this_installation_that_see_the_store_are_taken(client: Any, shop: Workspace) -> None:
    check_workers(client, shop.traces_dir, read_manifest(shop.traces_dir))


def test_workers_see_a_store_in_an_object_store(client: Any, store_in_bucket: Place) -> None:
    check_workers(client, store_in_bucket, read_manifest(store_in_bucket))


def test_the_command_works_on_a_scheduler_from_address_to_address(
    cluster: Any, shop: Workspace, store_in_bucket: Place, bucket: Place
) -> None:
    places = ["--store", str(store_in_bucket), "--out", str(bucket / "decided")]
    words = ["classify", "-w", str(shop.root), "--scheduler", cluster.scheduler_address, *places]
    done = CliRunner().invoke(app, words)
    assert done.exit_code == ExitCode.DONE, done.output
    assert "nothing printed here releases a weld" in done.output
    assert (bucket / "decided").names() == ("decision.json", "decisions.parquet", "indications.parquet")


def test_workers_that_see_another_store_are_refused(client: Any, shop: Workspace) -> None:
    manifest = read_manifest(shop.traces_dir)
    with pytest.raises(BadInput, match=r"got 0 seams, expected 96 seams\. To do: mount the store"):
        check_workers(client, shop.root / "elsewhere", manifest)


def test_a_worker_with_another_numba_is_refused_by_name() -> None:
    here = environment()
    other = replace(here, libraries=tuple(one.replace("numba 0", "numba 99") for one in here.libraries))
    with pytest.raises(Refused, match=r"tcp://10\.0\.0\.7:4001: .*got numba 99\.\S+, expected numba 0\."):
        check_workers(Answering(environment=other), Place("memory://x"), Manifest())  # type: ignore[arg-type]


def test_a_worker_without_seamtell_is_refused() -> None:
    missing = ModuleNotFoundError("No module named 'seamtell'")
    with pytest.raises(Refused, match=r"No module named 'seamtell'.* To do: install seamtell there"):
        check_workers(Answering(environment=missing), Place("memory://x"), Manifest())  # type: ignore[arg-type]


def test_a_worker_that_joins_later_with_another_python_is_refused() -> None:
    with pytest.raises(Refused, match=r"expected 2\.7\.18"):
        given_job(None, {}, replace(environment(), python="2.7.18"))  # type: ignore[arg-type]


def test_a_job_that_arrives_with_other_limits_is_refused() -> None:
    class Arrived:
        inputs = {"limits": "b"}  # noqa: RUF012

    with pytest.raises(Refused, match="other than they were sent: limits"):
        given_job(Arrived(), {"limits": "a"}, environment())  # type: ignore[arg-type]


def test_a_scheduler_that_nobody_runs_is_said_within_seconds() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))  # bound and never listening: nobody answers
        address = f"tcp://127.0.0.1:{taken.getsockname()[1]}"
        begun = time.monotonic()
        with pytest.raises(BadInput, match="no Dask scheduler answers"), open_cluster(address, answer_s=1.0):
            pass
    assert time.monotonic() - begun < 5.0


def test_an_address_that_is_none_is_refused() -> None:
    with pytest.raises(BadInput, match="--scheduler nonsense://here"), open_cluster("nonsense://here", 1.0):
        pass


def test_a_local_cluster_of_no_workers_is_refused() -> None:
    with pytest.raises(BadInput, match="expected at least one"), open_cluster("local:0"):
        pass


def test_without_dask_the_message_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(__import__("sys").modules, "distributed", None)
    with pytest.raises(BadInput, match=r"pip install 'seamtell\[beyond\]'"), open_cluster("local"):
        pass


def test_a_scheduler_without_workers_is_refused() -> None:
    with (
        local_cluster(0) as empty,
        pytest.raises(BadInput, match="has no worker"),
        open_cluster(empty.scheduler_address, answer_s=0.5),
    ):
        pass


def test_the_usual_wait_is_a_few_seconds() -> None:
    assert looked_at.ANSWER_S <= 5.0
