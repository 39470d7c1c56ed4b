"""What training reads besides sections: indications of simulated flaws with their descriptors."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seamtell.features.errors import SeamtellError
from seamtell.models.canonical_json import canonical_json
from seamtell.models.descriptor_rows import check_finite, check_shapes

__all__ = ["IMPLANTED", "SimulatedTable"]

IMPLANTED = "implanted"
"""Origin of flaws that were put into the shop's own recorded seams."""


@dataclass(frozen=True, eq=False)
class SimulatedTable:
    """One row a simulated flaw that gave an indication. No row of it ever judges anything.

    Parameters
    ----------
    values : array of shape (n, d)
        Finite descriptors.
    names : tuple of str, length d
        Descriptor names, unique.
    truths : str array of shape (n,)
        What was simulated.
    groups : str array of shape (n,)
        Coil (or seam) that the flaw was put into, named as sections name theirs; a flaw in
        a host of its own has a group of its own.
    recipes : str array of shape (n,)
    sizes_mm : array of shape (n,)
        Length of the flaw along the seam; NaN where sound.
    schema_digest : str
        Digest of the descriptor definitions that `values` follow.
    origin : str
        ``implanted`` or ``simulated``.
    theory_version : str
    physics_digest : str
        SHA-256 of the file that describes heads, joints and expected flaws.

    Raises
    ------
    SeamtellError
        Shapes disagree, names repeat, or a descriptor is not finite.
    """

    values: NDArray[np.float64]
    names: tuple[str, ...]
    truths: NDArray[np.str_]
    groups: NDArray[np.str_]
    recipes: NDArray[np.str_]
    sizes_mm: NDArray[np.float64]
    schema_digest: str = ""
    origin: str = "simulated"
    theory_version: str = ""
    physics_digest: str = ""

    def __post_init__(self) -> None:
        columns = {
            "truths": self.truths,
            "groups": self.groups,
            "recipes": self.recipes,
            "sizes_mm": self.sizes_mm,
        }
        check_shapes(self.values, self.names, columns, len(self), "table of simulated flaws")
        if len(set(self.names)) != len(self.names):
            raise SeamtellError("got a descriptor name twice, expected each once")
        check_finite(
            self.values,
            self.names,
            lambda row: f"simulated flaw {row}, {self.truths[row]}",
            do="simulate again, with flaws and seams inside the range of the theory",
        )

    def __len__(self) -> int:
        return len(self.truths)

    def rows(self, keep: NDArray[np.bool_]) -> SimulatedTable:
        """Return the rows where the bool array `keep` of shape (n,) is True."""
        return SimulatedTable(
            values=self.values[keep],
            names=self.names,
            truths=self.truths[keep],
            groups=self.groups[keep],
            recipes=self.recipes[keep],
            sizes_mm=self.sizes_mm[keep],
            schema_digest=self.schema_digest,
            origin=self.origin,
            theory_version=self.theory_version,
            physics_digest=self.physics_digest,
        )

    @property
    def host_groups(self) -> tuple[str, ...]:
        """Coils and seams of the shop that the flaws were put into; none for hosts that are simulated too."""
        return tuple(sorted(set(self.groups.tolist()))) if self.origin == IMPLANTED else ()

    def digest(self) -> str:
        """SHA-256 over everything in the table, rows in the given order."""
        text = {
            "names": self.names,
            "truths": self.truths.tolist(),
            "groups": self.groups.tolist(),
            "recipes": self.recipes.tolist(),
            "schema_digest": self.schema_digest,
            "origin": self.origin,
            "theory_version": self.theory_version,
            "physics_digest": self.physics_digest,
        }
        digest = hashlib.sha256(canonical_json(text))
        digest.update(np.ascontiguousarray(self.values, dtype="<f8").tobytes())
        digest.update(np.ascontiguousarray(self.sizes_mm, dtype="<f8").tobytes())
        return digest.hexdigest()
