"""Production of one line as a row of blocks, each with one number a stream.

A block is whole days (UTC) until enough seams are together, so that its numbers are about
equally sure, and what seams of one day have in common is not taken for news. Seams of recipes that
the model never saw are left out: it says nothing of them anyway, and other sheets have
another baseline without anything having drifted.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from seamtell.features.contracts import CHANNELS
from seamtell.features.descriptors import registry
from seamtell.models.answers import NO_CODE, reason_code
from seamtell.models.reasons import Reason
from seamtell.pipeline.decisions.choice import Choice
from seamtell.pipeline.decisions.decider import Decider
from seamtell.pipeline.health.drift_state import Block, Stream
from seamtell.pipeline.months import next_month
from seamtell.pipeline.store.manifest import read_manifest
from seamtell.pipeline.store.row_groups import Chunk, SeamRows, batched, read_chunk, row_groups_of
from seamtell.pipeline.workspace import Workspace

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["LEAST_INDICATIONS", "SeenSeams", "blocks_of", "seen_by_month", "together"]

LEAST_INDICATIONS = 10
"""With fewer indications a block says nothing of descriptors, novelty and abstention."""
_LEAST_PCT = 0.01
_NOVEL, _AMBIGUOUS = reason_code(Reason.NOVEL), reason_code(Reason.AMBIGUOUS)
_ANSWERED = (NO_CODE, _NOVEL, _AMBIGUOUS)
"""Indications that the model has judged; others were kept from it."""


@dataclass(frozen=True, eq=False)
class SeenSeams:
    """Described seams of some days.

    Parameters
    ----------
    seams : pandas.DataFrame
        line, day, indications, and baseline and noise of each channel in dB re 1 % FSH.
    indications : pandas.DataFrame
        line, day, judged, novel, abstained, and every descriptor.
    """

    seams: pd.DataFrame
    indications: pd.DataFrame

    def of(self, line: str, since: date, until: date) -> SeenSeams:
        """Those of a line with ``since <= day < until``."""
        kept = [
            frame[(frame["line"] == line) & (frame["day"] >= since) & (frame["day"] < until)]
            for frame in (self.seams, self.indications)
        ]
        return SeenSeams(*kept)


def seen_by_month(ws: Workspace, decider: Decider, since: datetime | None) -> Iterator[SeenSeams]:
    """Describe the seams of the store from a moment on, one month at a time; damaged parts are left out.

    A month without such a seam is passed over.
    """
    manifest = read_manifest(ws.traces_dir)
    starts = sorted({_month(part.first_key[0]) for part in manifest.parts})
    for start in starts:
        after = next_month(start)
        if since is not None and after <= since:
            continue
        choice = Choice(max(start, since) if since is not None else start, after)
        chosen = (
            rows.chosen(choice.mask(rows) & _within_domain(rows, decider))
            for chunk in batched(row_groups_of(ws.traces_dir, choice.parts(ws.traces_dir, manifest)))
            if isinstance(chunk, Chunk)
            for rows in read_chunk(chunk)[0]
        )
        found = [_seen(rows, decider) for rows in chosen if len(rows)]
        if found:
            yield together(found)


def together(found: Sequence[SeenSeams]) -> SeenSeams:
    """All of them in one; there must be one."""
    import pandas as pd

    return SeenSeams(
        pd.concat([one.seams for one in found], ignore_index=True),
        pd.concat([one.indications for one in found], ignore_index=True),
    )


def blocks_of(seen: SeenSeams, line: str, since: date, last: date, least_seams: int) -> list[Block]:
    """Cut the days of a line into blocks; what is left over at the end waits for more.

    Parameters
    ----------
    since : date
        First day that no block has.
    last : date
        This day is not over yet, and neither is any after it.
    least_seams : int
        Of one block.
    """
    own = seen.of(line, since, last)
    days, counts = np.unique(own.seams["day"].to_numpy(dtype=object), return_counts=True)
    blocks: list[Block] = []
    start, gathered = since, 0
    for day, count in zip(days.tolist(), counts.tolist(), strict=True):
        gathered += count
        if gathered >= least_seams:
            after = day + timedelta(days=1)
            blocks.append(_block(own.of(line, start, after), start, after))
            start, gathered = after, 0
    return blocks


def _block(own: SeenSeams, since: date, until: date) -> Block:
    seams, indications = own.seams, own.indications
    n, m = len(seams), int(seams["indications"].sum())
    values = {Stream.INDICATION_RATE.value: _counted_rate(m, n)}
    for quantity in ("baseline", "noise"):
        for channel in CHANNELS:
            name = f"{quantity}_{channel}"
            values[name] = float(seams[name].median())
    judged = int(indications["judged"].sum())
    descriptors: dict[str, float | None] = {}
    if len(indications) >= LEAST_INDICATIONS:
        descriptors = {name: _finite(float(indications[name].median())) for name in registry.names()}
    if judged >= LEAST_INDICATIONS:
        values[Stream.NOVELTY_RATE.value] = _share(int(indications["novel"].sum()), judged)
        values[Stream.ABSTENTION_RATE.value] = _share(int(indications["abstained"].sum()), judged)
    return Block(
        since=since,
        until=until,
        seams=n,
        indications=m,
        judged=judged,
        values={name: _finite(value) for name, value in values.items()},
        descriptors=descriptors,
    )


def _finite(value: float) -> float | None:
    return value if np.isfinite(value) else None


def _counted_rate(count: int, n: int) -> float:
    """Square root of a rate of counts, on which the spread by chance is the same at every rate (Anscombe)."""
    return float(np.sqrt((count + 0.375) / n))


def _share(count: int, n: int) -> float:
    """Arc sine of the root of a share, likewise (Anscombe 1948)."""
    return float(np.arcsin(np.sqrt((count + 0.375) / (n + 0.75))))


def _month(at: datetime) -> datetime:
    return at.replace(day=1, hour=0, minute=0, second=0, microsecond=0)


def _within_domain(rows: SeamRows, decider: Decider) -> NDArray[np.bool_]:
    """Seams of recipes that the model was trained on, shape (n,); all of them without a model."""
    known = decider.trusted.recipes
    if known is None:
        return np.ones(len(rows), np.bool_)
    return np.isin(rows.facts.column("recipe").to_pylist(), sorted(known))


def _seen(rows: SeamRows, decider: Decider) -> SeenSeams:
    import pandas as pd

    facts = rows.facts
    decided = decider.decide(facts.column("seam_id").to_pylist(), rows.batch)
    found = decided.described
    days = [at.date() for at in facts.column("welded_at").to_pylist()]
    lines = facts.column("line").to_pylist()
    seams = pd.DataFrame({"line": lines, "day": days})
    seams["indications"] = np.bincount(found.seam, minlength=len(rows))
    for quantity, values in (("baseline", found.baseline_pct), ("noise", found.noise_pct)):
        for c, channel in enumerate(CHANNELS):
            seams[f"{quantity}_{channel}"] = 20 * np.log10(np.maximum(values[:, c], _LEAST_PCT))
    reasons = decided.answers.reason_codes
    columns = {
        "line": [lines[i] for i in found.seam],
        "day": [days[i] for i in found.seam],
        "judged": np.isin(reasons, _ANSWERED),
        "novel": reasons == _NOVEL,
        "abstained": np.isin(reasons, (_NOVEL, _AMBIGUOUS)),
    }
    columns.update({name: found.descriptors[:, i] for i, name in enumerate(registry.names())})
    return SeenSeams(seams, pd.DataFrame(columns))
