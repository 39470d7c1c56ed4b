"""Which sections are held out and which are cross-validated, by the split that training kept.

Training keeps ``split.json`` in the model folder: which sections were on its side
and from when on sections were held out. Sections added after training count as
held out, unless their coil or seam is one that training saw.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from pydantic import ValidationError

from seamtell.models.model_card import ModelCard
from seamtell.models.splits import assert_no_leak
from seamtell.pipeline.errors import Refused
from seamtell.pipeline.training_files import SPLIT_FILE, Split

__all__ = ["CLASS_LEFT_OUT", "Scopes", "read_split", "split_sections"]

CLASS_LEFT_OUT = "class_left_out"
"""Reason of a training section whose class had too few sections to be taught."""


@dataclass(frozen=True, eq=False)
class Scopes:
    """Bool arrays over the sections, shape (n,).

    Parameters
    ----------
    held_out, training : bool array
    unused : bool array
        Added after training on a coil or seam that training saw: of no use for either.
    training_groups : str array
    """

    held_out: NDArray[np.bool_]
    training: NDArray[np.bool_]
    unused: NDArray[np.bool_]
    training_groups: NDArray[np.str_]


def read_split(folder: Path) -> Split:
    """Read ``split.json`` of a model folder.

    Raises
    ------
    Refused
        Not there, or not readable.
    """
    path = folder / SPLIT_FILE
    try:
        return Split.model_validate_json(path.read_bytes())
    except (OSError, ValidationError) as problem:
        raise Refused(
            f"the split of the training cannot be read ({str(problem).splitlines()[0]})",
            where=str(path),
            do="train again with 'seamtell train'",
        ) from None


def split_sections(matched: pd.DataFrame, split: Split, card: ModelCard) -> Scopes:
    """Sort the sections into held out, training and unused.

    Parameters
    ----------
    matched : DataFrame
        All sections with ``section_id`` and ``group``.

    Raises
    ------
    Refused
        No section is held out.
    """
    ids = matched["section_id"]
    groups = matched["group"].to_numpy(str)
    training = ids.isin([*split.training_section_ids, *card.training_section_ids]).to_numpy(bool)
    hosts = card.physics.host_groups if card.physics is not None else ()
    seen = np.union1d(groups[training], np.array([*card.training_groups, *hosts], dtype=str))
    held_out = ~training & ~np.isin(groups, seen)
    assert_no_leak(seen, groups[held_out])
    if not held_out.any():
        raise Refused(
            "no section is held out: every sectioned coil or seam was in the training",
            do="add sections of newer coils, or train with a larger [train] holdout_share",
        )
    return Scopes(held_out, training, ~training & ~held_out, seen)
