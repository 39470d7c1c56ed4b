"""Counting cells, against groupby and unique counts of pandas."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.production.cells import count_cells
from seamtell.pipeline.production.decided import ANSWERS, EMPTY, DecidedIndications, DecidedSeams

N, K = 60, 400


@pytest.fixture(scope="module")
def seams() -> DecidedSeams:
    rng = np.random.default_rng(1)
    metadata = pd.DataFrame(
        {
            "seam_id": [f"S{i}" for i in range(N)],
            "line": rng.choice(["L1", "L2"], N),
            "coil": rng.choice(["C1", "C2", "C3", ""], N),
            "shift": rng.choice(["early", "late", None], N),
            "week": "2026-01-05",
            "part": rng.choice(["", *(f"P{i}" for i in range(20))], N),
        }
    )
    start, end = np.zeros(N), rng.uniform(500.0, 900.0, N)
    times = np.datetime64("2026-01-05", "s") + np.arange(N) * np.timedelta64(60, "s")
    return DecidedSeams(metadata, times, start, end, start + 10.0, end - 10.0, np.ones(N, bool))


@pytest.fixture(scope="module")
def indications() -> DecidedIndications:
    rng = np.random.default_rng(2)
    return DecidedIndications(
        seam=rng.integers(0, N, K).astype(np.int32),
        answer=rng.integers(0, len(ANSWERS), K).astype(np.int8),
        above=rng.random(K) < 0.3,
        height_share=rng.random(K).astype(np.float32),
        peak_mm=rng.uniform(10.0, 490.0, K).astype(np.float32),
        outside=np.zeros(K, bool),
    )


@pytest.mark.parametrize("column", ["line", "shift", "part"])
def test_groups_count_as_pandas_counts_them(
    seams: DecidedSeams, indications: DecidedIndications, column: str
) -> None:
    cells = count_cells(seams, indications, (column,))
    frame = seams.metadata.assign(metres=seams.metres)
    frame[column] = frame[column].fillna("").replace("", EMPTY)
    of_indication = frame[column].to_numpy()[indications.seam]
    for name, own in frame.groupby(column):
        cell = cells.of(column, str(name))
        assert cells.seams[cell].sum() == len(own)
        assert cells.metres[cell].sum() == pytest.approx(own["metres"].sum())
        inside = of_indication == name
        expected = np.bincount(indications.answer[inside], minlength=len(ANSWERS))
        assert cells.answers[cell].sum(axis=0).tolist() == expected.tolist()
        assert cells.strata[cell][:, len(ANSWERS) :].sum() == indications.above[inside].sum()


def test_parts_are_counted_once_however_many_seams_they_have(
    seams: DecidedSeams, indications: DecidedIndications
) -> None:
    part = seams.metadata["part"]
    expected = part[part != ""].nunique() + (part == "").sum()
    assert count_cells(seams, indications, ()).parts.sum() == pytest.approx(expected)


def test_two_columns_at_once_add_up_to_each_alone(
    seams: DecidedSeams, indications: DecidedIndications
) -> None:
    both, alone = (
        count_cells(seams, indications, ("line", "shift")),
        count_cells(seams, indications, ("shift",)),
    )
    for name in alone.groups["shift"].names:
        assert (
            both.answers[both.of("shift", name)].sum(axis=0).tolist()
            == alone.answers[alone.of("shift", name)].sum(axis=0).tolist()
        )


def test_seams_without_a_coil_count_as_of_one_coil_a_line_and_week(seams: DecidedSeams) -> None:
    names = set(seams.coils().names)
    assert {"without coil, L1, 2026-01-05", "without coil, L2, 2026-01-05"} <= names
    assert len(names) == 5


def test_an_unknown_column_names_those_there_are(seams: DecidedSeams) -> None:
    with pytest.raises(BadInput, match=r"no metadata column 'wether'.*choose one of line, coil, shift"):
        seams.group_by("wether")
