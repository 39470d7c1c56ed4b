"""Options of the commands that can leave this machine, and what they mean."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from seamtell.pipeline.files.places import Place
    from seamtell.pipeline.streaming.unit_run import RunUnits

__all__ = ["Scheduler", "Store", "running", "where"]

Store = Annotated[
    str | None,
    typer.Option(
        "--store",
        metavar="DIR|URL",
        help="Seam store elsewhere, for example s3://BUCKET/traces; default: that of the workspace.",
    ),
]
Scheduler = Annotated[
    str | None,
    typer.Option(
        "--scheduler",
        metavar="ADDRESS|local[:N]",
        help="Work on a Dask cluster, or on N worker processes here; same result as without.",
    ),
]


def where(address: str | None) -> Path | Place | None:
    """The path or place of an option.

    Raises
    ------
    BadInput
    """
    from seamtell.pipeline.files.places import place_of

    return None if address is None else place_of(address)


@contextmanager
def running(scheduler: str | None, store: Path | Place) -> Iterator[RunUnits | None]:
    """What does the units of `store`: workers that were looked at, or None for threads here.

    Raises
    ------
    BadInput
        The scheduler or one of its workers cannot be reached, or a worker cannot see the store.
    Refused
        A worker has other versions than this process.
    """
    if scheduler is None:
        yield None
        return
    from seamtell.pipeline.beyond.cluster import check_workers, open_cluster
    from seamtell.pipeline.beyond.cluster_run import OnCluster
    from seamtell.pipeline.store.manifest import read_manifest

    # Workers have working directories of their own.
    seen = store.resolve() if isinstance(store, Path) else store
    manifest = read_manifest(seen)
    with open_cluster(scheduler) as client:
        # What is lost, the command says in one line; Dask would print how.
        logging.getLogger("distributed.client").setLevel(logging.CRITICAL)
        check_workers(client, seen, manifest)
        yield OnCluster(client)
