"""Planned cuts that the workspace keeps: which place was drawn, by which design, with what probability.

A plan is written once and never changed. A section that comes back under the id of a
planned cut must be the cut that was planned, because the corrected figures weigh it by
the probability that *that* place had of being drawn.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from seamtell.features.contracts import Purpose
from seamtell.pipeline.errors import StorageProblem
from seamtell.pipeline.files.export_text import spreadsheet_safe
from seamtell.pipeline.ingest.reasons import InputRejected, ReasonCode
from seamtell.pipeline.workspace import Workspace

if TYPE_CHECKING:
    from seamtell.pipeline.store.section_rows import Section

__all__ = [
    "MOST_OFF_MM",
    "PLAN_FILE",
    "CutPlan",
    "ExpectedSections",
    "PlannedCut",
    "PlannedCuts",
    "plan_folders",
    "read_plan",
    "read_planned_cuts",
]

PLAN_FILE = "plan.json"
MOST_OFF_MM = 5.0
"""A section may lie this far beyond the planned place; farther off it is another cut."""


class PlannedCut(BaseModel):
    """One place to cut."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    section_id: str
    seam_id: str
    purpose: Purpose
    """``random`` for the audit share, else ``planned``."""
    position_mm: float
    place_start_mm: float
    place_end_mm: float
    """The place that was drawn: the indication, or the point of the audit."""
    indication: int | None
    """Number of the indication; None for the audit, which looks at no indication."""
    selection_probability: float = Field(gt=0, le=1)
    """With which the design draws this indication; for the audit, this seam."""
    worth: float | None
    """What the cut was expected to tell, 0 to 1; None for the audit."""
    label: str
    """Answer of the classifier at the place; empty where nothing is indicated."""
    line: str
    recipe: str
    coil: str
    reason: str


class ExpectedSections(BaseModel):
    """What a plan is expected to bring of one class."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    label: str
    so_far: int
    """Sections of the class before the plan."""
    expected: float
    """By the classifier's probabilities at the planned indications; the audit is not counted."""
    need: float
    """0 to 1: missing over wanted sections, by the criteria."""


class CutPlan(BaseModel):
    """``plan.json``: one plan as it was drawn."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    schema_version: int = 1
    plan_id: str
    planned_at: datetime
    software_version: str
    budget: int
    random_share: float
    seed: int
    decisions: str
    """Folder of the decisions that it was drawn from."""
    model_id: str
    model_digest: str
    input_digest: str
    seams: int
    """Seams that could be drawn: in the decisions, with a recipe that has limits, not cut yet."""
    indications: int
    """Indications on them."""
    expected: tuple[ExpectedSections, ...]
    notes: tuple[str, ...]
    cuts: tuple[PlannedCut, ...]

    def to_json(self) -> bytes:
        """The file's content."""
        return (self.model_dump_json(indent=2) + "\n").encode("utf-8")


@dataclass(frozen=True)
class PlannedCuts:
    """The cuts of every plan by section id."""

    by_section: dict[str, PlannedCut]

    def selection_probabilities(self) -> dict[str, float]:
        """Probability with which the indication of each *planned* section was drawn, by section id.

        Random cuts are not among them: they are a random sample of seam length, which the
        corrected figures know by their purpose.
        """
        return {
            name: cut.selection_probability
            for name, cut in self.by_section.items()
            if cut.purpose is Purpose.PLANNED
        }

    def restored(self, row: Mapping[str, str]) -> dict[str, str]:
        """A row of a returned form with the seam id as it is, where the form had to guard it."""
        cut = self.by_section.get(row.get("section_id", "").strip())
        guarded = cut is not None and row.get("seam_id", "").strip() == spreadsheet_safe(cut.seam_id)
        return {**row, "seam_id": cut.seam_id} if guarded and cut is not None else dict(row)

    def check(self, section: Section) -> None:
        """Refuse a section under the id of a planned cut that is not that cut.

        Raises
        ------
        InputRejected
            Another seam, another purpose, or a position off the planned place.
        """
        cut = self.by_section.get(section.section_id)
        if cut is None:
            return
        told = f"section '{section.section_id}' was planned"
        if section.seam_id != cut.seam_id:
            raise InputRejected(
                ReasonCode.BAD_VALUE,
                f"{told} on seam '{cut.seam_id}', got seam '{section.seam_id}'",
                do="look at the label of the specimen; a cut that no plan asked for gets an id of its own",
            )
        if section.purpose != cut.purpose.value:
            raise InputRejected(
                ReasonCode.BAD_VALUE,
                f"{told} as '{cut.purpose.value}', got purpose '{section.purpose}'",
                do="leave the purpose as the form has it: the corrected figures rest on it",
            )
        low, high = cut.place_start_mm - MOST_OFF_MM, cut.place_end_mm + MOST_OFF_MM
        if not low <= section.position_mm <= high:
            raise InputRejected(
                ReasonCode.BAD_VALUE,
                f"{told} between {low:g} and {high:g} mm, got position {section.position_mm:g} mm",
                do="mend the position; a cut elsewhere gets an id of its own and purpose 'targeted'",
            )


def plan_folders(ws: Workspace) -> list[Path]:
    """Folders of complete plans, oldest first."""
    return sorted(path.parent for path in ws.cut_plans_dir.glob(f"cutplan-*/{PLAN_FILE}"))


def read_plan(folder: Path) -> CutPlan:
    """Read one plan.

    Raises
    ------
    StorageProblem
        The file is damaged.
    """
    path = folder / PLAN_FILE
    try:
        return CutPlan.model_validate_json(path.read_bytes())
    except (OSError, ValidationError) as problem:
        raise StorageProblem(
            f"the cut plan cannot be read ({str(problem).splitlines()[0]})",
            where=str(path),
            do="restore it from a copy: the sections that came back rest on it",
        ) from None


def read_planned_cuts(ws: Workspace) -> PlannedCuts:
    """Every planned cut of the workspace.

    Raises
    ------
    StorageProblem
        A plan is damaged.
    """
    plans = (read_plan(folder) for folder in plan_folders(ws))
    return PlannedCuts({cut.section_id: cut for plan in plans for cut in plan.cuts})
