"""The newest cut plan as far as it is still to be cut, for the process page."""

from __future__ import annotations

from seamtell.pipeline.process_page.view import CutRow
from seamtell.pipeline.store.planned_cuts import plan_folders, read_plan
from seamtell.pipeline.store.sections import read_sections
from seamtell.pipeline.workspace import Workspace

__all__ = ["NOT_INDICATED", "next_cuts"]

NOT_INDICATED = "nothing indicated"
"""Label of a cut that was drawn along the seams."""


def next_cuts(ws: Workspace) -> tuple[list[CutRow], str]:
    """Rows of the cuts whose sections have not come back, and a sentence on the plan; none without one.

    Raises
    ------
    StorageProblem
        The plan is damaged.
    """
    folders = plan_folders(ws)
    if not folders:
        return [], ""
    plan = read_plan(folders[-1])
    returned = set(read_sections(ws)["section_id"].astype(str))
    open_cuts = [cut for cut in plan.cuts if cut.section_id not in returned]
    rows = [
        CutRow(rank, cut.seam_id, cut.position_mm, cut.label or NOT_INDICATED, cut.reason)
        for rank, cut in enumerate(open_cuts, start=1)
    ]
    random = sum(cut.indication is None for cut in plan.cuts)
    back = len(plan.cuts) - len(open_cuts)
    return rows, (
        f"{plan.plan_id} of {plan.planned_at:%Y-%m-%d}: {len(plan.cuts)} cuts, {random} of them at random "
        f"along the seams, the others where a cut tells most; {back} have come back."
    )
