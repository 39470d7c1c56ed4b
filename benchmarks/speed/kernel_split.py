"""How the time of the kernel divides: the same loop over seams, stopped after each of its steps.

The loop is the kernel's own source with a condition before each step, compiled once more, so that it cannot
part from what is shipped. That takes a minute or two.
"""

from __future__ import annotations

import ast
import inspect
import textwrap
import time
from collections.abc import Callable, Mapping
from typing import Any

from numba import njit

import seamtell.features.kernel.batch as batch_module
import seamtell.features.kernel.batch_kernel as kernel_module
from seamtell.features.contracts import RecipeLimits
from seamtell.features.machine_code import OPTIONS
from seamtell.features.trace_batch import TraceBatch

__all__ = ["kernel_split", "stopping_source"]

STEPS = {
    "_take_in": 1,
    "begin_baselines": 2,
    "fit_together": 2,
    "finish_baselines": 2,
    "find_excursions": 3,
    "prepare_segments": 4,
    "_groups": 4,
    "_write": 5,
}
"""Calls of the loop, and the step that each belongs to."""
WORDS = ("copy and check", "baseline", "noise", "indications", "descriptors")


def kernel_split(batch: TraceBatch, limits: Mapping[str, RecipeLimits], runs: int = 5) -> dict[str, float]:
    """Seconds of each step of describing `batch` on one core, by `WORDS`; each the least of several runs.

    Raises
    ------
    RuntimeError
        The kernel's loop no longer calls what `STEPS` names.
    """
    stopping = _stopping_loop()
    seconds = [_least(batch, limits, stopping, stop, runs) for stop in range(1, len(WORDS) + 1)]
    before = [0.0, *seconds[:-1]]
    return {word: max(0.0, now - then) for word, now, then in zip(WORDS, seconds, before, strict=True)}


def _least(batch: TraceBatch, limits: Mapping[str, RecipeLimits], loop: Any, stop: int, runs: int) -> float:
    shipped = batch_module.run_batch
    batch_module.run_batch = lambda *arguments: loop(stop, *arguments)
    try:
        times = [_seconds(lambda: batch_module.describe_batch(batch, limits)) for _ in range(runs + 1)]
    finally:
        batch_module.run_batch = shipped
    return min(times[1:])


def _seconds(call: Callable[[], object]) -> float:
    start = time.perf_counter()
    call()
    return time.perf_counter() - start


def stopping_source() -> str:
    """Source of the kernel's loop with a further first argument: the number of its last step.

    Raises
    ------
    RuntimeError
        The loop no longer calls what `STEPS` names.
    """
    tree = ast.parse(textwrap.dedent(inspect.getsource(kernel_module.run_batch.py_func)))
    function = tree.body[0]
    assert isinstance(function, ast.FunctionDef)
    function.decorator_list, function.name, function.returns = [], "stopping_loop", None
    function.args.args.insert(0, ast.arg("stop"))
    for argument in function.args.args:
        argument.annotation = None
    seen: set[str] = set()
    _Stops(seen).visit(function)
    if seen != set(STEPS):
        raise RuntimeError(f"got the steps {sorted(seen)} in the kernel's loop, expected {sorted(STEPS)}")
    return ast.unparse(ast.fix_missing_locations(tree))


def _stopping_loop() -> Any:
    namespace = dict(vars(kernel_module))
    exec(compile(stopping_source(), "<kernel split>", "exec"), namespace)
    return njit(**OPTIONS)(namespace["stopping_loop"])


class _Stops(ast.NodeTransformer):
    """Does the calls of a step only where that is not behind the last one; what they give is zero else."""

    def __init__(self, seen: set[str]) -> None:
        self.seen = seen

    def visit_Assign(self, node: ast.Assign) -> Any:
        step = self._step(node.value)
        if step > 1:
            node.value = ast.IfExp(_not_behind(step), node.value, ast.Constant(0))
        return node

    def visit_Expr(self, node: ast.Expr) -> Any:
        step = self._step(node.value)
        return ast.If(_not_behind(step), [node], []) if step > 1 else node

    def _step(self, value: ast.expr) -> int:
        name = _called(value)
        if name in STEPS:
            self.seen.add(name)
        return STEPS.get(name, 0)


def _not_behind(step: int) -> ast.expr:
    return ast.parse(f"stop >= {step}", mode="eval").body


def _called(value: ast.expr) -> str:
    return value.func.id if isinstance(value, ast.Call) and isinstance(value.func, ast.Name) else ""
