"""Work units: consecutive row groups, cut the same way whatever the size of a batch."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from seamtell.pipeline.store.row_groups import Chunk, UnreadSeams, batched
from seamtell.pipeline.streaming.units import units_of

groups = st.lists(
    st.one_of(
        st.tuples(st.sampled_from("ab"), st.integers(1, 300)).map(lambda x: (x[0], x[1])),
        st.integers(1, 300),
    ),
    max_size=40,
).map(
    lambda sizes: [
        UnreadSeams(f"bad{i}", size, (), "damaged")
        if isinstance(size, int)
        else Chunk(Path(size[0]), (i,), (size[1],), 300 * i)
        for i, size in enumerate(sizes)
    ]
)


def seams(chunk: Chunk | UnreadSeams) -> int:
    return chunk.seams if isinstance(chunk, UnreadSeams) else sum(chunk.sizes)


@given(groups, st.integers(1, 1_000))
def test_units_hold_every_row_group_once_and_in_order(row_groups, unit_seams):
    units = list(units_of(row_groups, unit_seams))
    assert [chunk for unit in units for chunk in unit.chunks] == row_groups
    assert [unit.number for unit in units] == list(range(len(units)))


@given(groups, st.integers(1, 1_000))
def test_a_unit_is_as_full_as_can_be_and_no_fuller_than_asked_unless_one_group_is(row_groups, unit_seams):
    units = list(units_of(row_groups, unit_seams))
    for unit in units:
        assert unit.seams <= unit_seams or len(unit.chunks) == 1
    for unit, following in pairwise(units):
        assert unit.seams + seams(following.chunks[0]) > unit_seams


@given(groups, st.integers(1, 1_000))
def test_batches_of_a_unit_hold_its_row_groups_once_and_in_order(row_groups, batch_seams):
    told = []
    for chunk in batched(row_groups, batch_seams):
        if isinstance(chunk, UnreadSeams):
            told.append(chunk)
            continue
        assert sum(chunk.sizes) <= batch_seams or len(chunk.sizes) == 1
        first_row = chunk.first_row
        for group, size in zip(chunk.groups, chunk.sizes, strict=True):
            told.append(Chunk(chunk.path, (group,), (size,), 300 * group))
        assert first_row == 300 * chunk.groups[0]
    assert told == row_groups
