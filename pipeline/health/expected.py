"""What a reference check expects: where each machined flaw lies and how high it comes back."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from seamtell.features.contracts import Channel
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.physics.blank_file import FlawTable, flaw_name, read_blank_document

__all__ = ["ExpectedBlank", "ExpectedFlaw", "read_expected_blank", "with_expected"]

_FLAW = "[[flaw]]\n"


@dataclass(frozen=True)
class ExpectedFlaw:
    """One machined flaw.

    Parameters
    ----------
    name : str
    first_mm, last_mm : float
        Its extent along the blank.
    expected_pct : mapping of Channel to float
        Peak in % FSH; empty while it is not known.
    """

    name: str
    first_mm: float
    last_mm: float
    expected_pct: Mapping[Channel, float]

    @property
    def centre_mm(self) -> float:
        """Middle of the flaw."""
        return (self.first_mm + self.last_mm) / 2


@dataclass(frozen=True)
class ExpectedBlank:
    """A reference blank as the check sees it, its flaws in order of position.

    Parameters
    ----------
    recipe : str
        Recipe whose sheets it is made of; empty when the file states sheets.
    tolerance_mm : float
        How far a flaw may be found beside its place.
    """

    path: Path
    name: str
    digest: str
    recipe: str
    length_mm: float
    tolerance_mm: float
    flaws: tuple[ExpectedFlaw, ...]


def read_expected_blank(path: Path, *, known: bool = True) -> ExpectedBlank:
    """Read the file of a reference blank for a check.

    Parameters
    ----------
    known : bool
        Whether every flaw must state what is expected; not so while it is being measured.

    Raises
    ------
    BadInput
        Not readable, no flaws, a flaw outside the blank, in another's place, or without a
        positive amplitude for each channel.
    """
    document, digest = read_blank_document(path)
    tables = sorted(document.flaw, key=lambda table: table.position_mm)
    if not tables:
        raise BadInput("no machined flaw", where=str(path), do="add a [[flaw]] table for each")
    flaws = tuple(_flaw(table) for table in tables)
    end_mm = 0.0
    for flaw, table in zip(flaws, tables, strict=True):
        _check_place(flaw, end_mm, document.length_mm, path)
        _check_amplitudes(flaw, table, path, known=known)
        end_mm = flaw.last_mm
    return ExpectedBlank(
        path, document.name, digest, document.recipe or "", document.length_mm,
        document.position_tolerance_mm, flaws,
    )  # fmt: skip


def _flaw(table: FlawTable) -> ExpectedFlaw:
    half = (table.length_mm or table.diameter_mm or 0.0) / 2
    return ExpectedFlaw(
        flaw_name(table), table.position_mm - half, table.position_mm + half, dict(table.expected_pct)
    )


def _check_place(flaw: ExpectedFlaw, free_from_mm: float, length_mm: float, path: Path) -> None:
    if flaw.first_mm < free_from_mm or flaw.last_mm > length_mm:
        raise BadInput(
            f"{flaw.name} spans {flaw.first_mm:g} to {flaw.last_mm:g} mm, expected a place of its own "
            f"between {free_from_mm:g} and {length_mm:g} mm",
            where=str(path),
            do="mend position_mm, or length_mm of the blank",
        )


def _check_amplitudes(flaw: ExpectedFlaw, table: FlawTable, path: Path, *, known: bool) -> None:
    for channel in Channel:
        value = table.expected_pct.get(channel)
        if value is None and known:
            raise BadInput(
                f"{flaw.name} states no expected_pct for '{channel.value}'",
                where=str(path),
                do="run 'seamtell refcheck --measure' with good runs, and write its lines into this file",
            )
        if value is not None and not 0 < value <= 100:
            raise BadInput(
                f"{flaw.name}: expected_pct of '{channel.value}' is {value:g}, expected 0 to 100",
                where=str(path),
                do="mend the value",
            )


def with_expected(text: str, lines: Sequence[str]) -> str:
    """Text of a blank's file with one ``expected_pct`` line for each flaw.

    Parameters
    ----------
    text : str
        Its flaws stand in order of position, and have no such line yet.
    lines : sequence of str
        One for each flaw, in order of position.
    """
    head, *flaws = text.split(_FLAW)
    told = [f"{_FLAW}{line}\n{flaw}" for line, flaw in zip(lines, flaws, strict=True)]
    return head + "".join(told)
