"""A seam as it was read, before any check of its values."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from seamtell.pipeline.ingest.profile import CHANNEL_NAME, OtherColumns, Profile
from seamtell.pipeline.ingest.reasons import InputRejected, Note, NoteCode, ReasonCode

__all__ = ["ColumnPlan", "RawSeam", "plan_columns"]


@dataclass(frozen=True, eq=False)
class RawSeam:
    """Texts and numbers of one seam, in the shop's own units.

    Parameters
    ----------
    metadata : mapping of str to str
        Our names to texts; whatever else was there is in `extra`.
    extra : mapping of str to str
    positions : float64 array of shape (n,) or None
        None when the position follows from a start and a pitch.
    start_mm, pitch_mm : float or None
        In mm, where `positions` is None.
    channels : mapping of str to float64 array of shape (n,)
    first_row : int
        Line or row of the first sample; 0 when samples have no row of their own.
    rows : int array of shape (n,) or None
        Line of each sample where lines were left out between them.
    notes : sequence of Note
    """

    metadata: Mapping[str, str]
    extra: Mapping[str, str]
    positions: NDArray[np.float64] | None
    start_mm: float | None
    pitch_mm: float | None
    channels: Mapping[str, NDArray[np.float64]]
    first_row: int = 0
    rows: NDArray[np.int64] | None = None
    notes: Sequence[Note] = field(default_factory=tuple)

    def row_of(self, sample: int) -> int:
        """Line or row of one sample, 0 when it has none."""
        if self.rows is not None:
            return int(self.rows[sample])
        return self.first_row + sample if self.first_row else 0


@dataclass(frozen=True)
class ColumnPlan:
    """Which column is what; names as in the file."""

    position: str | None
    channels: Mapping[str, str]
    notes: tuple[Note, ...] = ()

    @property
    def wanted(self) -> tuple[str, ...]:
        """Columns to read as numbers."""
        position = (self.position,) if self.position is not None else ()
        return (*position, *self.channels.values())


def plan_columns(
    names: Sequence[str], profile: Profile, *, position: str | None, known: frozenset[str] = frozenset()
) -> ColumnPlan:
    """Say what each column of a file is.

    Parameters
    ----------
    names : sequence of str
        Columns of the file.
    profile : Profile
    position : str or None
        The position column that must be there, None when there need be none.
    known : frozenset of str
        Columns that are neither (metadata columns of a Parquet file).

    Raises
    ------
    InputRejected
        A column is missing, double, or not named by a profile that allows no others.
    """
    for name in names:
        if names.count(name) > 1:
            raise InputRejected(ReasonCode.DUPLICATE_COLUMN, f"two columns are called '{name[:80]}'")
    needed = ([position] if position is not None else []) + list(profile.channels.values())
    missing = [name for name in needed if name not in names]
    if missing:
        listed = ", ".join(f"'{name[:40]}'" for name in names[:12]) or "none"
        raise InputRejected(ReasonCode.MISSING_COLUMN, f"no column '{missing[0]}'; the file has: {listed}")
    channels = dict(profile.channels)
    others = [name for name in names if name not in {*needed, *profile.columns.ignored, *known}]
    notes = []
    for name in others:
        if profile.columns.others is OtherColumns.REJECT:
            raise InputRejected(ReasonCode.EXTRA_COLUMN, f"column '{name[:80]}' is not in the input profile")
        if profile.columns.others is OtherColumns.IGNORE:
            notes.append(Note(NoteCode.COLUMN_IGNORED, f"column '{name[:80]}' was not read"))
        elif not CHANNEL_NAME.fullmatch(name):
            raise InputRejected(
                ReasonCode.EXTRA_COLUMN,
                f"column '{name[:80]}' cannot be a channel: a channel is lower-case letters, digits and _",
            )
        else:
            channels[name] = name
    return ColumnPlan(position, channels, tuple(notes))
