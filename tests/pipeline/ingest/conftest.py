from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from seamtell.pipeline.ingest.report import IngestReport
from seamtell.pipeline.ingest.run import ingest
from seamtell.pipeline.init import init_workspace
from seamtell.pipeline.store.rejected import RejectedRow, read_rejected
from seamtell.pipeline.store.seam_store import SeamStore
from seamtell.pipeline.workspace import Workspace


@dataclass(frozen=True)
class Shop:
    """A workspace and a folder of trace files beside it."""

    ws: Workspace
    inbox: Path

    def header(self, **changes: str | None) -> str:
        facts: dict[str, str | None] = {
            "seam_id": "S1",
            "welded_at": "2026-03-02T10:00:00Z",
            "line": "L1",
            "recipe": "R1",
            **changes,
        }
        return "".join(f"# {key}: {value}\n" for key, value in facts.items() if value is not None)

    def rows(self, n: int = 40, seed: int = 0) -> list[str]:
        rng = np.random.default_rng(seed)
        return [
            f"{0.25 * i:.2f},{specular:.3f},{scatter:.3f}"
            for i, (specular, scatter) in enumerate(
                zip(rng.uniform(6, 8, n), rng.uniform(0, 1, n), strict=True)
            )
        ]

    def text(
        self, rows: list[str] | None = None, names: str = "position_mm,specular,scatter", **changes
    ) -> str:
        return (
            self.header(**changes) + "\n".join([names, *(rows if rows is not None else self.rows())]) + "\n"
        )

    def write(self, content: str | bytes, name: str = "a.csv") -> Path:
        path = self.inbox / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content.encode("utf-8") if isinstance(content, str) else content)
        return path

    def profile(self, text: str, name: str = "shop") -> str:
        (self.ws.profiles_dir / f"{name}.toml").write_text(text, encoding="utf-8")
        return name

    def take(self, *paths: Path, profile: str | None = "default") -> IngestReport:
        return ingest(self.ws, paths or [self.inbox], profile)

    def reject(
        self, content: str | bytes, name: str = "a.csv", profile: str | None = "default"
    ) -> RejectedRow:
        """Ingest one bad file and return its one row; the store must stay empty."""
        report = self.take(self.write(content, name), profile=profile)
        assert report.added == 0
        (row,) = report.rows
        return row

    @property
    def store(self) -> SeamStore:
        return SeamStore(self.ws.traces_dir)

    def rejected(self) -> list[RejectedRow]:
        return list(read_rejected(self.ws.rejected_dir))


@pytest.fixture
def shop(tmp_path: Path, limits_toml: Callable[..., str]) -> Shop:
    ws = init_workspace(tmp_path / "ws")
    limits = limits_toml("R1", specular=20.0, scatter=10.0, dead_zone_mm=5.0, beam_width_mm=9.4)
    ws.limits_path.write_text(limits)
    inbox = tmp_path / "inbox"
    inbox.mkdir()
    return Shop(ws, inbox)
