"""Reaching a Dask cluster, and looking at its workers before any work is given to them."""

from __future__ import annotations

import logging
import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from seamtell.pipeline.beyond.environment import Environment, differences, environment
from seamtell.pipeline.beyond.unit_task import seen_manifest
from seamtell.pipeline.errors import BadInput, ClusterProblem, Refused
from seamtell.pipeline.files.places import Place
from seamtell.pipeline.store.manifest import Manifest
from seamtell.pipeline.streaming.ordered import usable_cores

if TYPE_CHECKING:
    from distributed import Client, LocalCluster

__all__ = ["ANSWER_S", "check_workers", "local_cluster", "open_cluster"]

ANSWER_S = 5.0
"""A scheduler that does not answer for so long is taken for unreachable."""

_LOCAL = re.compile(r"local(?::([0-9]+))?")


@contextmanager
def open_cluster(address: str, answer_s: float = ANSWER_S) -> Iterator[Client]:
    """Connect to a scheduler, or start workers on this machine that end with the context.

    Parameters
    ----------
    address : str
        ``tcp://HOST:PORT`` or ``tls://HOST:PORT`` of a running scheduler; ``local``, or ``local:N``
        for N workers on this machine.
    answer_s : float
        How long to wait for the scheduler, and then for its first worker.

    Raises
    ------
    BadInput
        What Dask needs is not installed, the address is not one, nobody answers there, or the
        scheduler has no worker.
    """
    try:
        from distributed import Client
    except ImportError:
        raise BadInput(
            "working on a cluster needs Dask, which is not installed",
            where="--scheduler",
            do="pip install 'seamtell[beyond]', or leave --scheduler away",
        ) from None
    local = _LOCAL.fullmatch(address)
    if local:
        workers = int(local[1]) if local[1] else usable_cores()
        if not workers:
            raise BadInput(
                "got no worker, expected at least one",
                where=f"--scheduler {address}",
                do="say --scheduler local:2",
            )
        with local_cluster(workers) as cluster, Client(cluster) as client:  # type: ignore[no-untyped-call]
            yield client
        return
    try:
        client = Client(address, timeout=answer_s, set_as_default=False)  # type: ignore[no-untyped-call]
    except (OSError, ValueError, TypeError) as problem:  # a TimeoutError is an OSError
        raise BadInput(
            f"no Dask scheduler answers: {_line(problem)}",
            where=f"--scheduler {address}",
            do="check that 'dask scheduler' runs there and that its port is open, or say --scheduler local",
        ) from None
    with client:
        try:
            client.wait_for_workers(1, timeout=answer_s)
        except TimeoutError:
            raise BadInput(
                "the scheduler has no worker",
                where=f"--scheduler {address}",
                do=f"start some with 'dask worker {address}' on the machines that shall work",
            ) from None
        yield client


def check_workers(client: Client, store: Path | Place, manifest: Manifest) -> None:
    """Refuse workers that would compute other bytes, or that cannot see the store.

    Raises
    ------
    Refused
        A worker has other versions, or no seamtell.
    BadInput
        A worker sees another store at this address, or none.
    ClusterProblem
        The scheduler is lost.
    """
    for worker, answer in _asked(client, environment).items():
        if not isinstance(answer, Environment):
            raise Refused(
                f"the worker cannot load seamtell: {_line(answer)}",
                where=worker,
                do="install seamtell there, in the same version as here",
            )
        different = differences(answer, environment())
        if different:
            raise Refused(
                f"the worker differs from this command: {'; '.join(different)}",
                where=worker,
                do="install the same versions on every worker: other versions can give other figures",
            )
    for worker, answer in _asked(client, seen_manifest, store).items():
        if answer != manifest:
            got = f"{answer.n_seams} seams" if isinstance(answer, Manifest) else _line(answer)
            raise BadInput(
                f"the worker cannot see the store that this command reads: got {got}, "
                f"expected {manifest.n_seams} seams",
                where=f"{worker}, {store}",
                do="mount the store under the same path on every worker, or name it by an address that all "
                "of them reach, with --store s3://BUCKET/FOLDER and the same keys",
            )


def _asked(client: Client, question: object, *given: object) -> dict[str, object]:
    """The answer of each worker, or what it raised."""
    try:
        answers: dict[str, object] = client.run(question, *given, on_error="return")
    except (OSError, RuntimeError) as problem:
        raise ClusterProblem(
            f"the scheduler is lost: {_line(problem)}", do="see its log, then run the same command again"
        ) from None
    return answers


@contextmanager
def local_cluster(workers: int) -> Iterator[LocalCluster]:
    """Worker processes of one thread each, for the interpreter lock of one holds up no other.

    A worker that dies is started again.
    """
    from distributed import LocalCluster

    with LocalCluster(  # type: ignore[no-untyped-call]
        n_workers=workers,
        threads_per_worker=1,
        processes=True,
        dashboard_address=None,
        # Else it takes the usual port of a dashboard, even without one.
        scheduler_kwargs={"dashboard_address": "127.0.0.1:0"},
        silence_logs=logging.ERROR,
    ) as cluster:
        yield cluster


def _line(problem: object) -> str:
    return (str(problem) or type(problem).__name__).splitlines()[0]
