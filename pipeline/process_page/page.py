"""The process page: rows, specifications and scripts in one file."""

from __future__ import annotations

import json
from functools import lru_cache
from importlib import resources
from typing import Any

from seamtell.pipeline.process_page.charts import vega_specifications
from seamtell.pipeline.process_page.view import (
    ChangeRow,
    CoverRow,
    EvenRow,
    GroupRow,
    HealthRow,
    MarkRow,
    MixRow,
    PairRow,
    PlaceRow,
    ProcessView,
    WeekRow,
    columns_of,
)
from seamtell.pipeline.report.page import render_page

__all__ = ["MOST_BYTES", "process_html"]

MOST_BYTES = 5_000_000
"""The page of a year of one plant stays below this."""

_PACKAGE = "seamtell.pipeline.process_page"
_LEVELS_DB = (-4.0, -2.0, 2.0, 4.0)


def process_html(view: ProcessView) -> str:
    """Render the page.

    Parameters
    ----------
    view : ProcessView

    Returns
    -------
    str
        One HTML document that loads nothing.
    """
    from markupsafe import Markup

    keys = {seam: str(number) for number, seam in enumerate(view.pictures)}
    groupings = list(dict.fromkeys(row.by for row in view.groups)) or ["line"]
    # All four are made here: JSON without '<', the library as it comes, and our own script.
    return render_page(
        "process.html.j2",
        _PACKAGE,
        view=view,
        keys=keys,
        groupings=groupings,
        data=Markup(_json(_document(view, keys))),
        specs=Markup(_json(vega_specifications(view.labels))),
        library=Markup(_library()),
        script=Markup(_script()),
    )


def _document(view: ProcessView, keys: dict[str, str]) -> dict[str, Any]:
    """What the page's script reads; `keys` are the numbers of the seams' pictures."""
    return {
        "level": view.level,
        "bins": view.bins,
        "pictures": keys,
        "levels": _LEVELS_DB if view.health_rows else (),
        "periods": [{"key": p.key, "name": p.name, "months": p.months} for p in view.periods],
        "tables": {
            "mix": columns_of(view.mix, MixRow),
            "pairs": columns_of(view.pairs, PairRow),
            "weeks": columns_of(view.weeks, WeekRow),
            "changes": columns_of(view.changes, ChangeRow),
            "places": columns_of(view.places, PlaceRow),
            "cover": columns_of(view.cover, CoverRow),
            "even": columns_of(view.even, EvenRow),
            "marks": columns_of(view.marks, MarkRow),
            "groups": columns_of(view.groups, GroupRow),
            "health": columns_of(view.health_rows, HealthRow),
        },
    }


def _json(document: object) -> str:
    """JSON that cannot end the script element it stands in."""
    text = json.dumps(document, allow_nan=False, separators=(",", ":"), ensure_ascii=True)
    return text.replace("<", "\\u003c")


@lru_cache(maxsize=1)
def _library() -> str:
    """Vega with all that it needs, for a script element."""
    import vl_convert

    bundle: str = vl_convert.javascript_bundle("window.vegaEmbed = vegaEmbed;")
    return bundle.replace("</script", "<\\/script")


@lru_cache(maxsize=1)
def _script() -> str:
    return (resources.files(_PACKAGE) / "templates" / "process.js").read_text(encoding="utf-8")
