"""A table of simulated flaws with their complex echoes, for one joint and one head.

The theory takes milliseconds a flaw, so a search through thousands is made once and
kept. Echoes lie one after the other in two flat arrays on a grid of `GRID_MM`, each as
long as its flaw needs, each flaw centred at 0 mm in the middle of its echo.
"""

from __future__ import annotations

import hashlib
import io
import zipfile
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields, is_dataclass
from enum import Enum
from math import cos, log, sqrt
from typing import Any

import numpy as np
from numpy.typing import NDArray

from seamtell.data_synth.arrays import Complex, Floats
from seamtell.data_synth.echo_designs import DESIGN_VERSION, DesignedFlaw, designed_flaws
from seamtell.data_synth.expected_ranges import FlawRanges
from seamtell.data_synth.head import Head, Joint
from seamtell.data_synth.line_scan import line_scan
from seamtell.data_synth.simulated_flaw import SimulatedFlaw
from seamtell.data_synth.theory import THEORY_VERSION
from seamtell.data_synth.validity import check_flaw
from seamtell.features.contracts import Channel
from seamtell.features.errors import SeamtellError

__all__ = [
    "GRID_MM",
    "EchoLibrary",
    "echo_on_grid",
    "library_digest",
    "library_from_bytes",
    "library_to_bytes",
    "reach_mm",
    "sound_level_pct",
    "two_way_beam_mm",
]

GRID_MM = 0.5
"""Ten points a wavelength of the steel sheets inspected here; the beam is wider still."""
_FORMAT = 1
_STORED = ("starts", "specular", "scatter", "novelty_misfits", "novelty_extents_mm", "kept")
_REACH_SD = 4.0


@dataclass(frozen=True, eq=False)
class EchoLibrary:
    """All designed flaws that the theory answers for, and their echoes.

    Parameters
    ----------
    joint : Joint
    head : Head
    designed : tuple of DesignedFlaw
        n flaws, in the order of the echoes.
    starts : int array of shape (n + 1,)
        First sample of each echo in `specular` and `scatter`; lengths are odd.
    specular, scatter : complex64 array
        Echoes of the flaws alone, % of the free edge; zero for a gain change.
    novelty_misfits, novelty_extents_mm : float arrays of one shape
        Best misfits of simulated flaws that are *not* in the table, and how long each shows.
    kept : bool array
        Which of all designed flaws are here; the others lie outside the theory's range.
    """

    joint: Joint
    head: Head
    designed: tuple[DesignedFlaw, ...]
    starts: NDArray[np.int64]
    specular: NDArray[np.complex64]
    scatter: NDArray[np.complex64]
    novelty_misfits: Floats
    novelty_extents_mm: Floats
    kept: NDArray[np.bool_]

    @classmethod
    def of(
        cls,
        joint: Joint,
        head: Head,
        designed: Sequence[DesignedFlaw],
        echoes: Iterable[tuple[Complex, Complex] | None],
    ) -> EchoLibrary:
        """Lay the echoes of `designed` end to end; those that are None are left out."""
        answered = list(echoes)
        kept = [(one, echo) for one, echo in zip(designed, answered, strict=True) if echo is not None]
        if not kept:
            raise SeamtellError(
                "the theory answers for none of the expected flaws on this joint",
                where="table of echoes",
                do="mend joint, head or expected ranges",
            )
        lengths = [len(specular) for _, (specular, _) in kept]
        return cls(
            joint,
            head,
            tuple(one for one, _ in kept),
            np.concatenate(([0], np.cumsum(lengths))).astype(np.int64),
            np.concatenate([specular for _, (specular, _) in kept]).astype(np.complex64),
            np.concatenate([scatter for _, (_, scatter) in kept]).astype(np.complex64),
            np.empty(0),
            np.empty(0),
            np.array([echo is not None for echo in answered]),
        )

    @property
    def causes(self) -> NDArray[np.str_]:
        """Cause of each flaw, shape (n,)."""
        return np.array([one.flaw.cause.value for one in self.designed])

    @property
    def left_out(self) -> int:
        """How many designed flaws the theory does not answer for."""
        return int(np.sum(~self.kept))

    @property
    def longest_mm(self) -> float:
        """Length along the seam of the longest flaw in the table."""
        return max(one.flaw.extent_mm() for one in self.designed)

    def echo(self, index: int) -> tuple[Complex, Complex]:
        """Echo of one flaw on both channels."""
        part = slice(self.starts[index], self.starts[index + 1])
        return self.specular[part], self.scatter[part]


def reach_mm(head: Head) -> float:
    """How far beyond a flaw its echo is kept: four standard deviations of the two-way beam.

    A Gaussian aperture of standard deviation a spreads to a sqrt(1 + (Y / k a²)²) at the
    stand-off Y (textbook Gaussian beam); there and back the amplitude is the square.

    Examples
    --------
    >>> round(reach_mm(Head()), 1)
    17.5
    """
    return _REACH_SD * _two_way_sd_mm(head) / cos(head.tilt_rad(Channel.SCATTER))


def two_way_beam_mm(head: Head) -> float:
    """Full width at half maximum of the untilted two-way beam at the seam.

    Examples
    --------
    >>> round(two_way_beam_mm(Head()), 1)
    9.4
    """
    return 2 * sqrt(2 * log(2)) * _two_way_sd_mm(head)


def _two_way_sd_mm(head: Head) -> float:
    a, k = head.aperture_sd_mm, head.wavenumber_per_mm()
    return a * sqrt(1 + (head.stand_off_mm / (k * a**2)) ** 2) / sqrt(2)


def sound_level_pct(joint: Joint, head: Head) -> complex:
    """Echo of the sound seam on specular, % of the free edge; it is zero on scatter."""
    return complex(line_scan((), joint, head, np.zeros(1)).specular[0])


def echo_on_grid(flaw: SimulatedFlaw, joint: Joint, head: Head) -> tuple[Complex, Complex]:
    """Echo of the flaw alone on both channels, on a grid of `GRID_MM` with the flaw in the middle.

    Raises
    ------
    SeamtellError
        The flaw lies outside the theory's range.
    """
    n_half = int(np.ceil((flaw.extent_mm() / 2 + reach_mm(head)) / GRID_MM))
    at = GRID_MM * np.arange(-n_half, n_half + 1)
    geometry = flaw.geometry(joint)
    for part in geometry:
        check_flaw(part, joint, head)
    if not geometry:
        return np.zeros(len(at), complex), np.zeros(len(at), complex)
    scan, sound = line_scan(geometry, joint, head, at), line_scan((), joint, head, at[:1])
    return scan.specular - sound.specular[0], scan.scatter - sound.scatter[0]


def library_digest(joint: Joint, head: Head, ranges: FlawRanges) -> str:
    """SHA-256 of everything that the table depends on: theory, design, joint, head, ranges."""
    words = (_FORMAT, THEORY_VERSION, DESIGN_VERSION, GRID_MM, _plain(joint), _plain(head), _plain(ranges))
    return hashlib.sha256(repr(words).encode("utf-8")).hexdigest()


def _plain(value: Any) -> Any:
    """Numbers and names only, in the order of the fields: stable text for a digest."""
    if is_dataclass(value) and not isinstance(value, type):
        return tuple((field.name, _plain(getattr(value, field.name))) for field in fields(value))
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, (list, tuple)):
        return tuple(_plain(one) for one in value)
    return value


def library_to_bytes(library: EchoLibrary, digest: str) -> bytes:
    """The table as an uncompressed ``.npz`` without pickled objects; the design itself is not stored."""
    arrays: dict[str, NDArray[Any]] = {
        "starts": library.starts,
        "specular": library.specular,
        "scatter": library.scatter,
        "novelty_misfits": np.asarray(library.novelty_misfits, dtype=np.float64),
        "novelty_extents_mm": np.asarray(library.novelty_extents_mm, dtype=np.float64),
        "kept": library.kept,
    }
    arrays["content"] = _bytes_of(digest + _content(arrays))
    buffer = io.BytesIO()
    np.savez(buffer, allow_pickle=False, **arrays)
    return buffer.getvalue()


def library_from_bytes(data: bytes, digest: str, joint: Joint, head: Head, ranges: FlawRanges) -> EchoLibrary:
    """Read a table back.

    Raises
    ------
    SeamtellError
        The bytes are damaged, or belong to another theory, joint, head or set of ranges.
    """
    try:
        with np.load(io.BytesIO(data), allow_pickle=False) as stored:
            arrays = {name: stored[name] for name in _STORED}
            content = stored["content"].tobytes().decode("ascii")
    except (OSError, ValueError, KeyError, EOFError, NotImplementedError, zipfile.BadZipFile) as problem:
        raise _damaged(str(problem).splitlines()[0] if str(problem) else type(problem).__name__) from None
    if content != digest + _content(arrays):
        raise _damaged("its digest does not match its content")
    all_designed = designed_flaws(joint, ranges)
    return EchoLibrary(
        joint,
        head,
        tuple(all_designed[i] for i in np.flatnonzero(arrays["kept"])),
        arrays["starts"],
        arrays["specular"],
        arrays["scatter"],
        arrays["novelty_misfits"],
        arrays["novelty_extents_mm"],
        arrays["kept"],
    )


def _damaged(why: str) -> SeamtellError:
    return SeamtellError(f"damaged table of echoes: {why}", do="build it again")


def _content(arrays: dict[str, NDArray[Any]]) -> str:
    found = hashlib.sha256()
    for name in sorted(arrays):
        array = np.ascontiguousarray(arrays[name])
        found.update(f"{name} {array.dtype.str} {array.shape}".encode())
        found.update(array.tobytes())
    return found.hexdigest()


def _bytes_of(text: str) -> NDArray[np.uint8]:
    return np.frombuffer(text.encode("ascii"), dtype=np.uint8)
