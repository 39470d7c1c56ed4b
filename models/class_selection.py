"""Which classes have enough sections to be learnt; the others are left out by name."""

from __future__ import annotations

import numpy as np

from seamtell.features.errors import SeamtellError
from seamtell.models.labelled_table import LabelledTable, ordered_classes

__all__ = ["select_classes"]


def select_classes(table: LabelledTable, min_sections: int) -> tuple[LabelledTable, tuple[str, ...]]:
    """Keep the classes with at least `min_sections` sections from at least two groups.

    Returns
    -------
    table : LabelledTable
        Rows of the kept classes.
    left_out : tuple of str
        Classes with some sections, but too few.

    Raises
    ------
    SeamtellError
        Fewer than two classes are left; the message says what each lacks.
    """
    lacks: dict[str, str] = {}
    classes = ordered_classes(table.truths)
    for label in classes:
        rows = table.truths == label
        groups = len(set(table.groups[rows].tolist()))
        if rows.sum() < min_sections:
            lacks[label] = f"{label} has {rows.sum()} of {min_sections} sections"
        elif groups < 2:
            lacks[label] = f"{label} has {rows.sum()} sections, all from one coil or seam, and needs two"
    if len(classes) - len(lacks) < 2:
        enough = [f"{label} has enough" for label in classes if label not in lacks]
        detail = "; ".join([*lacks.values(), *enough]) or "there are no sections"
        raise SeamtellError(
            f"got {len(enough)} classes with at least {min_sections} sections that match an indication, "
            f"expected at least 2: {detail}",
            do="section more indications of the classes named",
        )
    return table.rows(~np.isin(table.truths, list(lacks))), tuple(lacks)
