"""The page of a retraining: what changed, on one page."""

from __future__ import annotations

from seamtell.pipeline.report.page import render_page
from seamtell.pipeline.retrain.record import RetrainRecord
from seamtell.pipeline.retrain.sentence import difference_words

__all__ = ["retrain_page"]

_PACKAGE = "seamtell.pipeline.retrain"
_RANGES = 12
_LISTED = 40


def retrain_page(record: RetrainRecord) -> str:
    """One self-contained HTML page."""
    return render_page(
        "retrain.html.j2",
        _PACKAGE,
        record=record,
        difference_words=difference_words,
        most_ranges=_RANGES,
        listed=_LISTED,
    )
