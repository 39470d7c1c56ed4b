"""The judged sections of the model that labelled, and how production looked when they were chosen."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from seamtell.features.contracts import Flaw, Purpose
from seamtell.models.reasons import Reason
from seamtell.pipeline.acceptance.drawn_cuts import drawn_weights
from seamtell.pipeline.decisions.decided_batch import DecidedBatch
from seamtell.pipeline.decisions.decider import Decider
from seamtell.pipeline.decisions.files import DecisionRecord
from seamtell.pipeline.decisions.stored_seams import decide_stored
from seamtell.pipeline.decisions.trusted_model import TrustedModel
from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.evaluation.files import SECTIONS_FILE, read_evaluation
from seamtell.pipeline.evaluation.result import Outcome
from seamtell.pipeline.flaw_mix.confusion_draws import Design, SectionCounts
from seamtell.pipeline.limits_file import read_limits
from seamtell.pipeline.production.decided import ANSWERS
from seamtell.pipeline.production.height_bins import EVERY_HEIGHT, HeightBins, bins_of_sections
from seamtell.pipeline.settings import indication_settings, read_settings
from seamtell.pipeline.store.planned_cuts import read_planned_cuts
from seamtell.pipeline.store.seam_store import SeamStore
from seamtell.pipeline.verified_model import load_verified_model
from seamtell.pipeline.workspace import Workspace

__all__ = ["REFERENCE_SEAMS", "TRUTHS", "JudgedSections", "judged_sections"]

TRUTHS: tuple[str, ...] = tuple(flaw.value for flaw in Flaw)
REFERENCE_SEAMS = 50_000
"""Seams of the sections' period that are answered at most: what they show weighs every section, and is soon
less sure than the sections themselves. A second answers as many."""
_AT_INDICATIONS = (Outcome.RIGHT.value, Outcome.WRONG.value, Outcome.ABSTAINED.value)


@dataclass(frozen=True, eq=False)
class JudgedSections:
    """Sections at indications.

    Parameters
    ----------
    counts : SectionCounts
        Strata are answers, bin of height after bin of height.
    bins : HeightBins
    truths, answers : int array of shape (n,)
        Of each section, places in `TRUTHS` and `ANSWERS`.
    welded_at : datetime64 array of shape (n,)
    reference_seams : int
    """

    counts: SectionCounts
    bins: HeightBins
    truths: NDArray[np.int64]
    answers: NDArray[np.int64]
    welded_at: NDArray[np.datetime64]
    reference_seams: int


def judged_sections(ws: Workspace, record: DecisionRecord, *, seed: int) -> JudgedSections:
    """Read how the model that labelled answered the sections.

    Raises
    ------
    BadInput
        It labelled nothing, was not evaluated, or no section lies at an indication.
    Refused
        The evaluation is of another model of that name, or the model is not what training saved.
    """
    if not record.model_digest:
        raise BadInput("no model labelled these decisions", do="approve a model, then classify again")
    evaluation = read_evaluation(ws.reports_dir / record.model_id)
    if evaluation.model_digest != record.model_digest:
        raise BadInput(
            f"the evaluation is of another model than the '{record.model_id}' that labelled",
            do=f"run 'seamtell evaluate {record.model_id}', and classify again",
        )
    table = _read(ws, record.model_id)
    store = SeamStore(ws.traces_dir)
    decider, known_recipes = _decider(ws, store, record)
    table = _with_heights(table, decide_stored(decider, store, table["seam_id"].unique().tolist()))
    random = bool((table["purpose"] == Purpose.RANDOM).all())
    heights, above = table["height_share"].to_numpy(float), table["limit_exceeded"].to_numpy(bool)
    bins = EVERY_HEIGHT if random else bins_of_sections(heights[~above])
    height = bins.of(heights, above)
    table, height = table[height >= 0], height[height >= 0]
    truths = np.array([TRUTHS.index(name) for name in table["truth"]], dtype=np.int64)
    answers = np.array([ANSWERS.index(name) for name in table["answer"]], dtype=np.int64)
    strata, stratum = bins.count * len(ANSWERS), answers + len(ANSWERS) * height
    found = np.zeros((len(TRUTHS), strata), dtype=np.int64)
    np.add.at(found, (truths, stratum), 1)
    worth = np.zeros(found.shape)
    np.add.at(worth, (truths, stratum), drawn_weights(stratum.astype(str), _drawn_with(ws, table)))
    welded = pd.to_datetime(table["welded_at"], utc=True)
    seams = _reference_seams(store, known_recipes, welded.min(), welded.max(), seed)
    counts = SectionCounts(
        found=found,
        production=_production(decide_stored(decider, store, seams), bins),
        answer_of=np.tile(np.arange(len(ANSWERS)), bins.count),
        answers=len(ANSWERS),
        design=Design.RANDOM if random else Design.BY_STRATUM,
        worth=worth,
    )
    welded_at = welded.dt.tz_localize(None).to_numpy("datetime64[s]")
    return JudgedSections(counts, bins, truths, answers, welded_at, len(seams))


def _read(ws: Workspace, model_id: str) -> pd.DataFrame:
    """Sections at indications about which the model was asked."""
    path = ws.reports_dir / model_id / SECTIONS_FILE
    try:
        table = pd.read_csv(path, keep_default_na=False)
        table = table[table["outcome"].isin(_AT_INDICATIONS)]
        table = table[table["reason"] != Reason.RECIPE_OUTSIDE_DOMAIN.value]
        if len(table) and set(table["truth"]) <= set(TRUTHS) and set(table["answer"]) <= set(ANSWERS):
            return table.assign(
                limit_exceeded=table["limit_exceeded"].astype(str) == "True",
                indication=table["indication"].astype(float).astype(int),
            )
    except (OSError, ValueError, KeyError) as problem:
        raise BadInput(
            f"not readable: {str(problem).splitlines()[0]}",
            where=str(path),
            do=f"run 'seamtell evaluate {model_id}' again",
        ) from None
    raise BadInput("no section lies at an indication", where=str(path), do="add sections, then evaluate")


def _drawn_with(ws: Workspace, table: pd.DataFrame) -> NDArray[np.float64]:
    """Probability with which a plan drew each section; NaN where no plan did."""
    planned = read_planned_cuts(ws).selection_probabilities()
    return np.array([planned.get(name, np.nan) for name in table["section_id"]], dtype=np.float64)


def _decider(ws: Workspace, store: SeamStore, record: DecisionRecord) -> tuple[Decider, frozenset[str]]:
    """What decides as the model that labelled did, and the recipes that it knows."""
    model, digest = load_verified_model(ws, record.model_id)
    if digest != record.model_digest:
        raise BadInput("the model that labelled was changed since", do="classify again")
    settings = read_settings(ws.settings_path)
    decider = Decider(
        read_limits(ws.limits_path),
        indication_settings(settings.describe),
        settings.review,
        TrustedModel.of(model, record.model_id, digest),
        store.conflicts(),
    )
    return decider, frozenset(model.card.domain.recipes)


def _with_heights(table: pd.DataFrame, decided: Iterable[DecidedBatch]) -> pd.DataFrame:
    """The sections with the height of their indications; those whose indication is no longer found go."""
    heights = {
        (batch.seam_ids[seam], number): height
        for batch in decided
        for seam, number, height in zip(
            batch.described.seam.tolist(),
            batch.described.indication.tolist(),
            batch.height_share.tolist(),
            strict=True,
        )
    }
    keys = zip(table["seam_id"], table["indication"], strict=True)
    known = table.assign(height_share=[heights.get(key, np.nan) for key in keys])
    return known[known["height_share"].notna()]


def _reference_seams(
    store: SeamStore, recipes: frozenset[str], first: pd.Timestamp, last: pd.Timestamp, seed: int
) -> list[str]:
    """A sample of the seams welded in the sections' period, of recipes that the model knows."""
    seams = store.metadata()
    usable = (
        (seams["welded_at"] >= first) & (seams["welded_at"] <= last) & seams["recipe"].isin(list(recipes))
    )
    usable &= ~seams["seam_id"].isin(list(store.conflicts()))
    ids = seams.loc[usable, "seam_id"].to_numpy(dtype=object)
    if len(ids) > REFERENCE_SEAMS:
        ids = np.sort(np.random.default_rng(seed).choice(ids, REFERENCE_SEAMS, replace=False))
    return [str(one) for one in ids]


def _production(decided: Iterable[DecidedBatch], bins: HeightBins) -> NDArray[np.float64]:
    """Indications by stratum."""
    counts = np.zeros(bins.count * len(ANSWERS))
    for batch in decided:
        classes = np.array([ANSWERS.index(name) for name in batch.answers.classes] + [len(ANSWERS) - 1])
        height = bins.of(batch.height_share, batch.exceeds_limit)
        told = height >= 0
        # Code -1 is unclassified, the last entry.
        strata = classes[batch.answers.codes[told]] + len(ANSWERS) * height[told]
        counts += np.bincount(strata, minlength=len(counts))
    return counts
