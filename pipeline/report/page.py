"""Self-contained HTML pages: one base template, one style, no script, nothing from a network."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from functools import lru_cache
from typing import TYPE_CHECKING

from seamtell.pipeline.console import CAUTION
from seamtell.pipeline.report import palette
from seamtell.pipeline.report.interval_mark import interval_mark
from seamtell.pipeline.report.plain_text import plain_text

if TYPE_CHECKING:
    from jinja2 import Environment
    from markupsafe import Markup

    from seamtell.pipeline.evaluation.result import Estimate

__all__ = ["render_page"]

_OWN_PACKAGE = "seamtell.pipeline.report"


def _time(value: datetime | None) -> str:
    if value is None:
        return "unknown"
    return value.astimezone(UTC).strftime("%Y-%m-%d %H:%M UTC")


def _together(text: str) -> str:
    """A sentence whose ``n = 12`` and ``56 %`` stay on one line."""
    return re.sub(r"n = (?=\d)", "n\N{NO-BREAK SPACE}=\N{NO-BREAK SPACE}", text).replace(
        " %", "\N{NO-BREAK SPACE}%"
    )


def _day(value: datetime | None) -> str:
    return "unknown" if value is None else value.astimezone(UTC).strftime("%Y-%m-%d")


def _fixed(value: float, digits: int = 2) -> str:
    """Fixed digits; what rounds to zero has no sign."""
    return f"{round(value, digits) + 0.0:.{digits}f}"


def _mark(label: str) -> Markup:
    """Glyph of a label in its colour; the name always stands beside it."""
    from markupsafe import Markup

    shape = palette.flaw_mark(label)
    name = label if label in palette.FLAW_MARKS else "unknown"
    return Markup('<span class="mark m-{}" aria-hidden="true">{}</span>').format(name, shape.glyph)


def _interval(estimate: Estimate, low: float = 0.0, high: float = 1.0, bound: float | None = None) -> Markup:
    from markupsafe import Markup

    return Markup(interval_mark(estimate, low, high, bound))


def _drawing(svg: str) -> Markup:
    """Our own SVG, whose texts were escaped when it was written."""
    from markupsafe import Markup

    return Markup(svg)


@lru_cache(maxsize=4)
def _environment(package: str) -> Environment:
    from jinja2 import ChoiceLoader, Environment, PackageLoader, StrictUndefined

    folders = dict.fromkeys((package, _OWN_PACKAGE))
    environment = Environment(
        loader=ChoiceLoader([PackageLoader(folder, "templates") for folder in folders]),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters.update(
        words=palette.words,
        plain=lambda value: plain_text(value, 200),
        mark=_mark,
        interval=_interval,
        drawing=_drawing,
        fixed=_fixed,
        together=_together,
        time=_time,
        day=_day,
    )
    environment.globals.update(palette=palette, caution=CAUTION.removeprefix("caution: "))
    return environment


def render_page(template: str, package: str = _OWN_PACKAGE, **context: object) -> str:
    """Render one template; every value is escaped unless it is our own drawing.

    Parameters
    ----------
    template : str
    package : str
        Whose ``templates`` folder holds it; it may build on the templates of the reports.
    **context
        Names that the template uses.
    """
    return _environment(package).get_template(template).render(**context)
