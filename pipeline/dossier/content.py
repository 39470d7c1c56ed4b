"""What a dossier is made of: sections of typed blocks, which the page and the paper both render.

Nothing here knows of HTML or PDF, so that both say the same.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

from seamtell.pipeline.evaluation.result import Estimate

__all__ = [
    "Block",
    "BulletList",
    "Cell",
    "Column",
    "DossierContent",
    "Figure",
    "FigureGrid",
    "Heading",
    "KeyValue",
    "KeyValues",
    "Paragraph",
    "Section",
    "SignLines",
    "Table",
    "Tone",
]


class Tone(StrEnum):
    """How a paragraph speaks."""

    PLAIN = "plain"
    ANSWER = "answer"
    """The sentence that a person signs or acts on."""
    CAUTION = "caution"
    UNKNOWN = "unknown"
    """Says why a figure cannot be given; stands where the figure would stand, hatched."""


@dataclass(frozen=True)
class Paragraph:
    """Running text, without markup."""

    text: str
    tone: Tone = Tone.PLAIN


@dataclass(frozen=True)
class Heading:
    """A heading inside a section."""

    text: str


@dataclass(frozen=True)
class BulletList:
    """Short statements, one a line."""

    items: tuple[str, ...]


@dataclass(frozen=True)
class KeyValue:
    """One named value; `code` for digests and other text to be compared letter by letter."""

    key: str
    value: str
    code: bool = False


@dataclass(frozen=True)
class KeyValues:
    """A block of named values."""

    pairs: tuple[KeyValue, ...]


@dataclass(frozen=True)
class Column:
    """One column of a table.

    Parameters
    ----------
    key : str
        Its name in the CSV file; unique in the table.
    text : str
        Its heading, with the unit.
    right : bool
        Whole numbers and single values, set flush right.
    scale : (float, float)
        Ends of the scale on which intervals of this column are drawn.
    """

    key: str
    text: str
    right: bool = False
    scale: tuple[float, float] = (0.0, 1.0)


@dataclass(frozen=True)
class Cell:
    """One cell of a table.

    Parameters
    ----------
    text : str
        As people read it, in words; complete without anything else.
    value : str, int, float or None
        As the CSV file holds it.
    estimate : Estimate, optional
        A figure with its interval; the CSV file holds all its parts in columns of their own.
    bound : float, optional
        The bound that a criterion sets for the figure; drawn as a tick.
    label : str
        Flaw class whose mark stands before the text; empty for none.
    unknown : bool
        Not known or too few: drawn hatched.
    share : float, optional
        Share of its row, drawn as the length of a bar under the count.
    outlined : bool
        On the diagonal of a confusion matrix.
    """

    text: str
    value: str | int | float | None = None
    estimate: Estimate | None = None
    bound: float | None = None
    label: str = ""
    unknown: bool = False
    share: float | None = None
    outlined: bool = False


@dataclass(frozen=True)
class Table:
    """A table that is also written as ``tables/NAME.csv``; the first cell of a row names the row.

    Parameters
    ----------
    name : str
        Safe in a file name.
    caption : str
        What to see.
    columns, rows
        As many cells in each row as there are columns.
    foot : tuple of Cell
        A last row under a rule that the CSV file leaves out: another table holds its figures.
    matrix : bool
        A confusion matrix: counts with bars.
    file_only : bool
        Too long to be read on paper: only the CSV file holds it, and the page says where.
    """

    name: str
    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    foot: tuple[Cell, ...] = ()
    matrix: bool = False
    file_only: bool = False

    @property
    def file(self) -> str:
        """Where its CSV stands, relative to the dossier."""
        return f"tables/{self.name}.csv"


@dataclass(frozen=True)
class Figure:
    """A drawing that is also written as ``figures/NAME.svg``.

    Parameters
    ----------
    name : str
        Safe in a file name.
    caption : str
        What to see.
    alt : str
        What it shows, for those who cannot see it: the finding.
    svg : str
        One ``<svg>`` element for use inside a page; black ink is ``currentColor``. The file
        written beside the page adds what it needs to stand alone.
    table : str
        Name of the table that holds what is drawn; empty where the text of the figure names the source.
    """

    name: str
    caption: str
    alt: str
    svg: str
    table: str = ""

    @property
    def file(self) -> str:
        """Where its SVG stands, relative to the dossier."""
        return f"figures/{self.name}.svg"


@dataclass(frozen=True)
class FigureGrid:
    """Figures of one kind at one scale, side by side where there is room."""

    caption: str
    figures: tuple[Figure, ...]


@dataclass(frozen=True)
class SignLines:
    """Blank lines to sign on paper: one for each role, with name, date and signature."""

    roles: tuple[str, ...]


Block = Paragraph | Heading | BulletList | KeyValues | Table | Figure | FigureGrid | SignLines


@dataclass(frozen=True)
class Section:
    """One numbered part of the dossier; `joined` where it need not begin a printed page."""

    id: str
    title: str
    blocks: tuple[Block, ...]
    joined: bool = False


@dataclass(frozen=True)
class DossierContent:
    """The whole dossier.

    Parameters
    ----------
    title : str
    identification : str
        One line that tells which record this is; repeated on every printed page.
    answer : str
        The summary verdict: one sentence that a person can sign or act on.
    cautions : tuple of str
        What must be read before the figures.
    sections : tuple of Section
        In order.
    """

    title: str
    identification: str
    answer: str
    cautions: tuple[str, ...]
    sections: tuple[Section, ...]

    def tables(self) -> Iterator[Table]:
        """All tables, in order."""
        for section in self.sections:
            for block in section.blocks:
                if isinstance(block, Table):
                    yield block

    def figures(self) -> Iterator[Figure]:
        """All figures, in order, those of grids among them."""
        for section in self.sections:
            for block in section.blocks:
                if isinstance(block, Figure):
                    yield block
                elif isinstance(block, FigureGrid):
                    yield from block.figures
