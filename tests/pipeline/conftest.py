"""What tests of several folders share: the browser, and an evaluation around given scores."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from typing import Any

import pytest

from seamtell.pipeline.evaluation.intervals import unknown
from seamtell.pipeline.evaluation.result import EvaluationResult, ReviewCost, Scope, ScopeResult

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
