"""What a profile would read from a file, and why it fails, without changing anything."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Any

from numpy.typing import NDArray

from seamtell.features.contracts import SeamTrace
from seamtell.pipeline.ingest.checks import to_trace
from seamtell.pipeline.ingest.csv_text import lay_out, read_bounded
from seamtell.pipeline.ingest.discover import require_file
from seamtell.pipeline.ingest.profile import Profile
from seamtell.pipeline.ingest.raw_seam import RawSeam
from seamtell.pipeline.ingest.readers import read_seams
from seamtell.pipeline.ingest.reasons import InputRejected, Note
from seamtell.pipeline.limits_file import Limits

__all__ = ["ProfileCheck", "check_profile"]

_SHOWN_SEAMS = 3
_SHOWN_SAMPLES = 5


@dataclass(frozen=True)
class ProfileCheck:
    """What was read from the first seam, as far as it got.

    Parameters
    ----------
    path : Path
    header : tuple of (str, str)
        Keys and values found in the header lines of a text file.
    columns : tuple of str
        Column names of a text file.
    metadata, extra : mapping of str to str
        As texts, by our names.
    samples : tuple of rows
        First samples: position in mm (or the column's own unit before the checks) and each channel.
    channels : tuple of str
    trace : SeamTrace or None
        The seam, when every check passed.
    problem : InputRejected or None
        Why it would be rejected.
    notes : tuple of Note
    """

    path: Path
    header: tuple[tuple[str, str], ...]
    columns: tuple[str, ...]
    metadata: Mapping[str, str]
    extra: Mapping[str, str]
    samples: tuple[tuple[float, ...], ...]
    channels: tuple[str, ...]
    trace: SeamTrace | None
    problem: InputRejected | None
    notes: tuple[Note, ...] = ()


def check_profile(path: Path, profile: Profile, limits: Limits) -> tuple[ProfileCheck, ...]:
    """Try a profile on the first seams of a file.

    Raises
    ------
    BadInput
        There is no such file, or it is a folder.
    """
    require_file(path)
    header, columns = _layout(path, profile)
    checks = []
    for item in islice(read_seams(path, profile), _SHOWN_SEAMS):
        if isinstance(item.outcome, InputRejected):
            checks.append(ProfileCheck(path, header, columns, {}, {}, (), (), None, item.outcome))
        else:
            checks.append(_check_seam(path, header, columns, item.outcome, profile, limits))
    return tuple(checks)


def _layout(path: Path, profile: Profile) -> tuple[tuple[tuple[str, str], ...], tuple[str, ...]]:
    """Header and column names of a text file, empty when it has none or cannot be read."""
    if path.suffix.lower() == ".parquet":
        return (), ()
    try:
        layout = lay_out(read_bounded(path), profile)
    except InputRejected:
        # The same problem comes again, and is shown, when the seam is read.
        return (), ()
    return layout.header, layout.names


def _check_seam(
    path: Path,
    header: tuple[tuple[str, str], ...],
    columns: tuple[str, ...],
    raw: RawSeam,
    profile: Profile,
    limits: Limits,
) -> ProfileCheck:
    trace: SeamTrace | None = None
    problem: InputRejected | None = None
    notes: tuple[Note, ...] = tuple(raw.notes)
    try:
        trace, notes = to_trace(raw, profile, limits)
    except InputRejected as rejected:
        problem = rejected
    names = tuple(raw.channels)
    if trace is not None:
        series: list[NDArray[Any]] = [trace.positions_mm(), *(trace.amplitudes_pct[name] for name in names)]
    else:
        series = [*([] if raw.positions is None else [raw.positions]), *raw.channels.values()]
    samples = tuple(tuple(float(values[i]) for values in series) for i in range(_shortest(series)))
    return ProfileCheck(path, header, columns, raw.metadata, raw.extra, samples, names, trace, problem, notes)


def _shortest(series: list[NDArray[Any]]) -> int:
    return min(_SHOWN_SAMPLES, *(len(values) for values in series))
