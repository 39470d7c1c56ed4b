"""A small store, its copy in an object store, and two worker processes; all made once."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from seamtell.features.contracts import SeamTrace
from seamtell.pipeline.beyond.cluster import local_cluster, open_cluster
from seamtell.pipeline.files.places import Place
from seamtell.pipeline.init import init_workspace
from seamtell.pipeline.store.writer import StoreWriter
from seamtell.pipeline.workspace import Workspace

N_SEAMS = 96


@pytest.fixture(scope="session")
def shop(tmp_path_factory: pytest.TempPathFactory, wide_limits: str) -> Workspace:
    """Seams with a bump each on two lines and in four months; do not change it."""
    ws = init_workspace(tmp_path_factory.mktemp("beyond") / "ws")
    ws.limits_path.write_text(wide_limits)
    rng = np.random.default_rng(7)
    x = np.arange(300.0)
    writer = StoreWriter(ws.traces_dir)
    for number in range(N_SEAMS):
        bump = np.exp(-0.5 * ((x - rng.uniform(60, 240)) / 4) ** 2)
        specular = 7 + rng.normal(0, 0.15, len(x)) + rng.uniform(2, 40) * bump
        scatter = 0.6 + np.abs(rng.normal(0, 0.1, len(x))) + rng.uniform(1, 15) * bump
        writer.add(
            SeamTrace(
                seam_id=f"S{number:04d}",
                welded_at=datetime(2026, 1, 1, tzinfo=UTC) + timedelta(days=number),
                line=f"L{number % 2 + 1}",
                recipe="R1",
                start_mm=0.0,
                pitch_mm=1.0,
                amplitudes_pct={
                    "specular": specular.astype(np.float32),
                    "scatter": scatter.astype(np.float32),
                },
            ),
            "made in the test",
        )
    writer.commit()
    return ws


@pytest.fixture(scope="session")
def store_in_bucket(shop: Workspace, bucket: Place) -> Place:
    """A copy of the store."""
    place = bucket / "traces"
    for path in shop.traces_dir.rglob("*"):
        if path.is_file():
            (place / path.relative_to(shop.traces_dir).as_posix()).write_bytes(path.read_bytes())
    return place


@pytest.fixture(scope="session")
def cluster(bucket: Place) -> Iterator[Any]:
    """Two worker processes, which are started again when they die."""
    with local_cluster(2) as started:
        yield started


@pytest.fixture
def client(cluster: Any) -> Iterator[Any]:
    with open_cluster(cluster.scheduler_address, answer_s=30.0) as connected:
        connected.wait_for_workers(2, timeout=60)
        yield connected


@pytest.fixture
def files() -> Callable[[Path | Place], dict[str, bytes]]:
    """Reads every file below a folder, by its path there."""
    return _files


def _files(folder: Path | Place, at: str = "") -> dict[str, bytes]:
    if isinstance(folder, Path):
        return {p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()}
    found: dict[str, bytes] = {}
    for name in folder.names():
        below = _files(folder / name, f"{at}{name}/")
        found |= below or {f"{at}{name}": (folder / name).read_bytes()}
    return found
