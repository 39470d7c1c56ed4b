from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from seamtell.features.errors import SeamtellError


def test_a_descriptor_that_is_not_finite_is_refused_by_name(simulate) -> None:
    table = simulate(3)
    values = table.values.copy()
    values[4, 2] = np.inf
    with pytest.raises(SeamtellError, match=r"simulated flaw 4, edge_notch: descriptor 'flatness' is inf"):
        replace(table, values=values)


def test_columns_of_another_length_are_refused(simulate) -> None:
    table = simulate(3)
    with pytest.raises(SeamtellError, match=r"got 'groups' of shape \(14,\), expected \(15,\)"):
        replace(table, groups=table.groups[:-1])
    with pytest.raises(SeamtellError, match=r"descriptors of shape \(15, 5\), expected \(15, 4\)"):
        replace(table, names=table.names[:-1])


def test_a_descriptor_name_twice_is_refused(simulate) -> None:
    table = simulate(3)
    with pytest.raises(SeamtellError, match="a descriptor name twice"):
        replace(table, names=(*table.names[:-1], table.names[0]))


@pytest.mark.parametrize("column", ["values", "truths", "groups", "recipes", "sizes_mm"])
def test_the_digest_follows_every_column(simulate, column: str) -> None:
    table = simulate(3)
    changed = getattr(table, column).copy()
    changed[0] = changed[-1] if changed.dtype.kind == "U" else 7.5
    changed[1] = "R9" if column == "recipes" else changed[1]
    assert replace(table, **{column: changed}).digest() != table.digest()


@pytest.mark.parametrize("word", ["origin", "theory_version", "physics_digest", "schema_digest"])
def test_the_digest_follows_where_the_flaws_come_from(simulate, word: str) -> None:
    table = simulate(3)
    assert replace(table, **{word: "another"}).digest() != table.digest()
    assert simulate(3).digest() == table.digest()


def test_rows_keep_everything_together(simulate) -> None:
    table = simulate(3)
    kept = table.rows(table.truths == "mismatch")
    assert len(kept) == 3
    assert kept.values.tolist() == table.values[9:12].tolist()
    assert kept.groups.tolist() == table.groups[9:12].tolist()


def test_only_implanted_flaws_have_hosts_of_the_shop(simulate) -> None:
    assert simulate(3).host_groups == ()
    implanted = simulate(20, coils=4, origin="implanted")
    assert implanted.host_groups == ("coil-000", "coil-001", "coil-002", "coil-003")
