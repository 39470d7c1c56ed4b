"""What training reads: sectioned indications with their descriptors, and the plan."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seamtell.features.contracts import Flaw
from seamtell.features.errors import SeamtellError
from seamtell.models.canonical_json import canonical_json
from seamtell.models.descriptor_rows import check_finite, check_shapes

__all__ = ["LabelledTable", "TrainingPlan", "ordered_classes"]


@dataclass(frozen=True, eq=False)
class LabelledTable:
    """One row a section that was matched to an indication.

    Parameters
    ----------
    section_ids : tuple of str, length n
        Unique.
    values : array of shape (n, d)
        Finite descriptors.
    names : tuple of str, length d
        Descriptor names, unique.
    truths : str array of shape (n,)
        What the section found.
    groups : str array of shape (n,)
        Coil, or seam where the coil is unknown; a group never lies on both sides of a split.
    times : datetime64 array of shape (n,)
        When the seam was welded, UTC.
    recipes : str array of shape (n,)
    schema_digest : str
        Digest of the descriptor definitions that `values` follow.
    sizes_mm : array of shape (n,), optional
        Length of the flaw along the seam; NaN where unknown or sound.

    Raises
    ------
    SeamtellError
        Shapes disagree, names or section ids repeat, or a descriptor is not finite.
    """

    section_ids: tuple[str, ...]
    values: NDArray[np.float64]
    names: tuple[str, ...]
    truths: NDArray[np.str_]
    groups: NDArray[np.str_]
    times: NDArray[np.datetime64]
    recipes: NDArray[np.str_]
    schema_digest: str = ""
    sizes_mm: NDArray[np.float64] | None = None

    def __post_init__(self) -> None:
        n = len(self)
        columns = {
            "truths": self.truths,
            "groups": self.groups,
            "times": self.times,
            "recipes": self.recipes,
            "sizes_mm": self.sizes_mm,
        }
        check_shapes(self.values, self.names, columns, n, "table of labelled sections")
        if len(set(self.section_ids)) != n or len(set(self.names)) != len(self.names):
            raise SeamtellError("got a section id or a descriptor name twice, expected each once")
        check_finite(
            self.values,
            self.names,
            lambda row: f"section {self.section_ids[row]}",
            do="look at the trace of this section, or leave the section out",
        )

    def __len__(self) -> int:
        return len(self.section_ids)

    def rows(self, keep: NDArray[np.bool_]) -> LabelledTable:
        """Return the rows where the bool array `keep` of shape (n,) is True."""
        return LabelledTable(
            section_ids=tuple(s for s, kept in zip(self.section_ids, keep, strict=True) if kept),
            values=self.values[keep],
            names=self.names,
            truths=self.truths[keep],
            groups=self.groups[keep],
            times=self.times[keep],
            recipes=self.recipes[keep],
            schema_digest=self.schema_digest,
            sizes_mm=None if self.sizes_mm is None else self.sizes_mm[keep],
        )

    def digest(self) -> str:
        """SHA-256 over everything in the table, rows in the given order."""
        text = {
            "section_ids": self.section_ids,
            "names": self.names,
            "truths": self.truths.tolist(),
            "groups": self.groups.tolist(),
            "times": np.datetime_as_string(self.times.astype("datetime64[us]")).tolist(),
            "recipes": self.recipes.tolist(),
            "schema_digest": self.schema_digest,
        }
        digest = hashlib.sha256(canonical_json(text))
        digest.update(np.ascontiguousarray(self.values, dtype="<f8").tobytes())
        if self.sizes_mm is not None:
            digest.update(np.ascontiguousarray(self.sizes_mm, dtype="<f8").tobytes())
        return digest.hexdigest()


@dataclass(frozen=True)
class TrainingPlan:
    """How to train.

    Parameters
    ----------
    candidates : tuple of str
        Names in the candidate registry; tried from simplest to most flexible.
    folds : int
        Folds of the cross-validation; fewer are used when a class has fewer groups.
    seed : int
    error_rate : float
        A conformal set misses the true label at most this often, in each class.
    novelty_p : float
        An indication with a smaller novelty p-value gets no label; 0 switches this off.
    min_sections_per_class : int
        A class with fewer sections is left out, by name.
    """

    candidates: tuple[str, ...] = ("prior", "hand_rule", "logistic", "lightgbm")
    folds: int = 5
    seed: int = 1
    error_rate: float = 0.1
    novelty_p: float = 0.01
    min_sections_per_class: int = 8


def ordered_classes(truths: NDArray[np.str_]) -> tuple[str, ...]:
    """Return the distinct labels, in the order of `Flaw`; any others after them by name.

    Examples
    --------
    >>> ordered_classes(np.array(["sound", "pinhole", "sound"]))
    ('pinhole', 'sound')
    """
    known = [flaw.value for flaw in Flaw]
    found = set(truths.tolist())
    return tuple(label for label in known if label in found) + tuple(sorted(found - set(known)))
