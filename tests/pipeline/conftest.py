"""What tests of several folders share: the browser, an object store, limits, an evaluation around scores."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from typing import Any

import pytest

from seamtell.pipeline.decisions.files import DecisionCounts, DecisionRecord
from seamtell.pipeline.evaluation.intervals import unknown
from seamtell.pipeline.evaluation.result import EvaluationResult, ReviewCost, Scope, ScopeResult
from seamtell.pipeline.files.places import Place

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave the browser tests out, and say so in the count, where there is no Chromium."""
    if CHROMIUM is not None:
        return
    left_out = [item for item in items if item.get_closest_marker("browser")]
    if left_out:
        config.hook.pytest_deselected(items=left_out)
        items[:] = [item for item in items if item not in left_out]


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        arguments = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--disable-background-networking"]
        launched = driver.chromium.launch(executable_path=CHROMIUM, args=arguments)
        yield launched
        launched.close()


@pytest.fixture(scope="session")
def violations() -> Callable[[Any], list[str]]:
    """What axe-core (WCAG 2.0, 2.1 and 2.2, levels A and AA, and best practices) finds wrong with a page.

    The rules run as a script: a page that allows none has to be opened with ``bypass_csp``.
    """

    def found(page: Any) -> list[str]:
        from axe_playwright_python.sync_playwright import Axe

        complaints = Axe().run(page).response["violations"]
        return [f"{one['id']}: {node['html'][:160]}" for one in complaints for node in one["nodes"]]

    return found


@pytest.fixture(scope="session")
def bucket() -> Iterator[Place]:
    """A bucket of moto, which speaks the protocol of S3 over HTTP; workers started later know it too."""
    import boto3
    from moto.server import ThreadedMotoServer

    with pytest.MonkeyPatch.context() as patch:
        server = ThreadedMotoServer(ip_address="127.0.0.1", port=0, verbose=False)
        server.start()
        host, port = server.get_host_and_port()
        patch.setenv("AWS_ENDPOINT_URL", f"http://{host}:{port}")
        patch.setenv("AWS_ACCESS_KEY_ID", "testing")
        patch.setenv("AWS_SECRET_ACCESS_KEY", "testing")
        patch.setenv("AWS_DEFAULT_REGION", "us-east-1")
        boto3.client("s3").create_bucket(Bucket="marram-bay")
        yield Place("s3://marram-bay")
        server.stop()


@pytest.fixture(scope="session")
def bare_record() -> Callable[..., DecisionRecord]:
    """Record of decisions by model m-0001 with nothing in it but what is asked for."""

    def record(
        decided_at: datetime, *, seams: int = 1, indications: int = 1, digest: str = ""
    ) -> DecisionRecord:
        return DecisionRecord(
            software_version="0",
            decided_at=decided_at,
            model_id="m-0001",
            model_digest=digest,
            model_reason="",
            limits_digest="",
            settings_digest="",
            input_digest="",
            since=None,
            until=None,
            counts=DecisionCounts(
                seams=seams, indications=indications, verdicts={}, labels={}, unclassified_by_reason={}
            ),
        )

    return record


@pytest.fixture(scope="session")
def limits_toml() -> Callable[..., str]:
    """Text of a ``limits.toml`` with the same limits for each recipe."""

    def text(
        *recipes: str, specular: float, scatter: float, dead_zone_mm: float, beam_width_mm: float
    ) -> str:
        tables = [
            f"[recipe.{recipe}]\n"
            f"limit_pct = {{ specular = {specular}, scatter = {scatter} }}\n"
            f"dead_zone_start_mm = {dead_zone_mm}\n"
            f"dead_zone_end_mm = {dead_zone_mm}\n"
            f"beam_width_mm = {beam_width_mm}\n"
            for recipe in recipes
        ]
        return "\n".join(["schema_version = 1", *tables])

    return text


@pytest.fixture(scope="session")
def wide_limits(limits_toml: Callable[..., str]) -> str:
    """Limits that only a high indication of recipe R1 exceeds."""
    return limits_toml("R1", specular=30.0, scatter=12.0, dead_zone_mm=10.0, beam_width_mm=9.0)


@pytest.fixture(scope="session")
def bare_evaluation() -> Callable[..., EvaluationResult]:
    """An evaluation with the given scores and nothing else in it."""

    def bare(
        scopes: dict[Scope, ScopeResult],
        *,
        model_id: str,
        candidate: str,
        classes: tuple[str, ...],
        draws: int,
        left_out_classes: tuple[str, ...] = (),
    ) -> EvaluationResult:
        nothing = unknown("not asked")
        return EvaluationResult(
            model_id=model_id,
            model_digest="",
            candidate=candidate,
            classes=classes,
            left_out_classes=left_out_classes,
            sections_digest="",
            traces_digest="",
            limits_digest="",
            settings_digest="",
            software_version="",
            evaluated_at=datetime(2026, 5, 1, tzinfo=UTC),
            seed=1,
            draws=draws,
            held_out=scopes[Scope.HELD_OUT],
            cross_validated=scopes[Scope.CROSS_VALIDATED],
            review_cost=ReviewCost(
                labels={},
                novel=False,
                asked=nothing,
                needless=nothing,
                needless_per_1000=nothing,
                caught=nothing,
            ),
            descriptors=(),
            families=(),
            notes=(),
        )

    return bare
