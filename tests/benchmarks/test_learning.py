"""The arithmetic of the experiments on learning from physics, against SciPy and scikit-learn."""

from __future__ import annotations

import sys
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from scipy import stats
from sklearn.metrics import f1_score

BENCHMARKS = Path(__file__).parents[2] / "benchmarks"


@pytest.fixture(scope="module")
def learning() -> dict[str, ModuleType]:
    """The modules of the experiments, which are scripts and no part of the package."""
    sys.path.insert(0, str(BENCHMARKS))
    from learning import answering, borders, cells, results_log, rows, summary

    sys.path.remove(str(BENCHMARKS))
    return {m.__name__.split(".")[1]: m for m in (answering, borders, cells, results_log, rows, summary)}


def some_rows(learning: dict[str, ModuleType], hidden: list[str], sizes_mm: list[float], depth: float = 0.3):
    n = len(hidden)
    labels = np.array(hidden, dtype=str)
    return learning["rows"].Rows(
        values=np.arange(2.0 * n).reshape(n, 2),
        labels=labels,
        hidden=labels,
        sizes_mm=np.array(sizes_mm),
        depth_share=np.full(n, depth),
        groups=labels,
        recipes=labels,
    )


def a_result(learning: dict[str, ModuleType], physics: str, sections: int, draw: int, f1: float):
    answering = learning["answering"]
    answers = tuple(
        answering.Answer(name, 1.0, f1, f1, f1, (1, 2, 3), 10, 100)
        for name in (answering.AS_CHOSEN, *answering.CANDIDATES)
    )
    cell = learning["cells"].Cell(physics, sections, draw)
    return answering.CellResult(cell, "logistic", 1.0, answers)


def test_interval_of_the_draws_is_that_of_the_one_sample_t_test_of_scipy(
    learning: dict[str, ModuleType],
) -> None:
    values = [0.71, 0.74, 0.69, 0.77, 0.72]
    expected = stats.ttest_1samp(values, 0.0).confidence_interval(0.95)
    found = learning["summary"].mean_interval(values)
    assert (found.low, found.high) == pytest.approx((expected.low, expected.high))


def test_difference_is_paired_draw_by_draw_as_in_the_paired_t_test_of_scipy(
    learning: dict[str, ModuleType],
) -> None:
    alone, joined = [0.60, 0.70, 0.65], [0.66, 0.74, 0.73]
    results = [a_result(learning, "none", 10, draw, f1) for draw, f1 in enumerate(alone)]
    results += [a_result(learning, "nominal", 10, draw, f1) for draw, f1 in enumerate(joined)]
    lines = learning["summary"].lines_of([r.cell for r in results], {r.cell: r for r in results})
    with_physics = next(line for line in lines if line.physics == "nominal")
    expected = stats.ttest_rel(joined, alone).confidence_interval(0.95)
    found = with_physics.against_real_only
    assert (found.low, found.high) == pytest.approx((expected.low, expected.high))


def test_sections_for_the_same_score_lie_between_the_numbers_that_reach_it(
    learning: dict[str, ModuleType],
) -> None:
    reached = {5: 0.5, 10: 0.6, 20: 0.7}
    results = [a_result(learning, "none", n, 0, f1) for n, f1 in reached.items()]
    results += [a_result(learning, "nominal", 5, 0, 0.65), a_result(learning, "nominal", 20, 0, 0.9)]
    lines = learning["summary"].lines_of([r.cell for r in results], {r.cell: r for r in results})
    needed = learning["summary"].as_good_as(lines, "logistic", "truth")
    # Half way between 10 and 20 on a logarithmic scale; nothing reaches 0.9.
    assert needed == {5: pytest.approx(10.0 * np.sqrt(2.0)), 20: np.inf}


def test_score_is_the_macro_f1_of_scikit_learn(learning: dict[str, ModuleType]) -> None:
    rng = np.random.default_rng(1)
    hidden = rng.choice(["pinhole", "edge_notch", "mismatch", "sound"], 60).tolist()
    answers = np.array(rng.choice(["pinhole", "edge_notch", "mismatch", "sound"], 60).tolist())
    rows = some_rows(learning, hidden, [4.0] * 60)
    expected = f1_score(hidden, answers, average="macro")
    assert learning["answering"].score("logistic", 0.0, rows, answers).by_truth == pytest.approx(expected)


def test_only_border_pairs_at_border_sizes_are_forgiven(learning: dict[str, ModuleType]) -> None:
    hidden = ["edge_notch", "edge_notch", "lack_of_fusion", "lack_of_fusion", "pinhole", "sound"]
    rows = some_rows(learning, hidden, [6.0, 3.9, 8.0, 20.0, 1.5, np.nan])
    answers = np.array(
        ["lack_of_fusion", "lack_of_fusion", "edge_notch", "mismatch", "edge_notch", "pinhole"], dtype=str
    )
    merged = learning["borders"].forgiven(rows, rows.hidden, answers)
    assert (merged == rows.hidden).tolist() == [True, False, True, True, True, False]
    deep = some_rows(learning, hidden, [6.0, 3.9, 8.0, 20.0, 1.5, np.nan], depth=0.8)
    assert learning["borders"].forgiven(deep, deep.hidden, answers)[3] == "mismatch"


def test_bands_are_thirds_of_the_sizes_of_each_class(learning: dict[str, ModuleType]) -> None:
    rng = np.random.default_rng(2)
    sizes = {"pinhole": rng.uniform(0.2, 2.0, 30), "mismatch": rng.uniform(10.0, 200.0, 30)}
    hidden = [label for label in sizes for _ in range(30)]
    rows = some_rows(learning, hidden, np.concatenate(list(sizes.values())).tolist())
    bands = learning["answering"].bands_of(rows, rows)
    for start, values in zip((0, 30), sizes.values(), strict=True):
        expected = np.digitize(values, np.quantile(values, [1 / 3, 2 / 3]), right=True)
        assert bands[start : start + 30].tolist() == expected.tolist()


def test_results_come_back_as_written_and_a_cut_line_is_left_out(
    learning: dict[str, ModuleType], tmp_path: Path
) -> None:
    log = learning["results_log"]
    first, second = (a_result(learning, "nominal", 10, draw, 0.7) for draw in (0, 1))
    log.add_result(tmp_path / "cells.jsonl", first)
    log.add_result(tmp_path / "cells.jsonl", second)
    text = (tmp_path / "cells.jsonl").read_text(encoding="utf-8")
    (tmp_path / "cells.jsonl").write_text(text[:-20], encoding="utf-8")
    assert log.read_results(tmp_path / "cells.jsonl") == {first.cell: first}
    log.add_result(tmp_path / "cells.jsonl", second)
    assert log.read_results(tmp_path / "cells.jsonl") == {first.cell: first, second.cell: second}


def test_what_no_section_lacked_is_trained_once(learning: dict[str, ModuleType]) -> None:
    cells = learning["cells"].cells_of("b", 2, ("R1",))
    groups = learning["answering"].trainings(cells)
    assert sorted(len(group) for group in groups) == [1] * 12 + [3, 3]
    assert {cell for group in groups for cell in group} == set(cells)
