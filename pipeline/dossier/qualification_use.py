"""Points on use, model, failures and people: what the record says of each."""

from __future__ import annotations

from seamtell.pipeline.dossier.cells import share_words
from seamtell.pipeline.dossier.identity_part import outdated_approval, standing_of
from seamtell.pipeline.dossier.qualification_point import Point, not_shown, partly, shown
from seamtell.pipeline.dossier.source import DossierSource
from seamtell.pipeline.evaluation.result import Outcome, Scope
from seamtell.pipeline.report.palette import words
from seamtell.pipeline.report.plain_text import plain_text
from seamtell.pipeline.report.verdict_sentence import candidate_words
from seamtell.pipeline.sign_off.states import ModelState

__all__ = ["failure_points", "human_points", "model_points", "use_points"]

_LIMITS = "Limits of use"


def use_points(source: DossierSource) -> tuple[Point, ...]:
    """Intended use and its limits."""
    card, result = source.card, source.evaluation
    recipes = ", ".join(plain_text(name) for name in card.domain.recipes)
    left_out = ", ".join(words(label) for label in result.left_out_classes)
    return (
        shown(
            "purpose",
            "What the system is for, and what it must not decide.",
            "It names the flaw behind an indication and may ask for a review. The limit rule alone decides "
            "on acceptance; the model never releases a seam.",
            _LIMITS,
        ),
        shown(
            "domain",
            "Which inputs it may see, and how others are kept out.",
            f"Recipes {recipes}; {len(card.domain.ranges)} descriptors, each with the range it had in "
            f"training. An indication unlike the training (novelty p below {card.novelty_threshold_p:.3g}) "
            "gets no label.",
            _LIMITS,
        ),
        shown(
            "flaws",
            "Which flaws it is meant to tell apart.",
            f"{', '.join(words(label) for label in result.classes)}"
            f"{f'; not {left_out}, of which too few sections are known' if left_out else ''}.",
            _LIMITS,
        ),
        _target(source),
        not_shown(
            "essential_variables",
            "Which settings of equipment and process change the answer, and within what range they may move.",
            "The record holds figures by stratum, but no study of heads, coupling, wear, temperature or "
            "position of the inspection line.",
        ),
    )


def _target(source: DossierSource) -> Point:
    asked = "What performance is asked for, set before the test."
    if not source.outcomes:
        return not_shown("target", asked, "No criterion is set.")
    count = len({one.criterion.id for one in source.outcomes})
    return partly(
        "target",
        asked,
        f"{count} criteria, with the SHA-256 of their file. That they were set before the figures were seen "
        "is not recorded.",
        "Verdict against each criterion",
    )


def model_points(source: DossierSource) -> tuple[Point, ...]:
    """Locked model, and what re-opens the qualification."""
    card, result = source.card, source.evaluation
    physics = f" Simulated flaws ({card.physics.origin}) joined the training." if card.physics else ""
    return (
        _locked(source),
        shown(
            "reopening",
            "Which changes end the validity of the evidence.",
            "Other bytes of the model, other sections, traces, limits or settings: each is held by its "
            "SHA-256, and the limit rule alone decides where approval is no longer proved. A changed head, "
            "line, material or process is not noticed by a digest: the shop must name it.",
            "Digests and versions",
        ),
        shown(
            "training",
            "How it was trained and chosen among others.",
            f"{len(card.candidates)} candidates, {card.folds} folds by coil, seed {card.seed}; "
            f"{candidate_words(card.chosen)} was chosen in training.{physics}",
            "Against the approved model and against the limit rule",
        ),
        partly(
            "reasoning",
            "Why its answers can be believed on physical grounds.",
            f"It reads {len(card.descriptor_names)} descriptors with a stated meaning, no raw signal; the "
            f"evaluation measured what {len(result.families)} families of them are worth. No argument for "
            "each flaw is part of this record.",
            "What this record is of",
        ),
        not_shown(
            "software",
            "How the software was developed, tested and installed.",
            "Versions are listed, but no test report and no acceptance on site.",
        ),
    )


def _locked(source: DossierSource) -> Point:
    asked = "That the model under test is the one in use, and cannot change unnoticed."
    digest = source.evaluation.model_digest[:16]
    standing = standing_of(source)
    if standing is None or standing.state is not ModelState.APPROVED or outdated_approval(source):
        return partly(
            "locked",
            asked,
            f"The model does not learn in use, and its bytes are held by a digest ({digest}…). No approval "
            "that is in force rests on this evidence.",
            "Sign-off",
        )
    return shown(
        "locked",
        asked,
        f"The model does not learn in use. Entry {standing.approval.seq} of the log holds the digest of its "
        f"bytes ({digest}…) and of this evaluation, and labels are given only while they agree.",
        "Sign-off",
    )


def failure_points(source: DossierSource) -> tuple[Point, ...]:
    """Failure cases."""
    held_out = source.judged[source.judged["scope"] == Scope.HELD_OUT.value]
    wrong = int((held_out["outcome"] == Outcome.WRONG.value).sum())
    missed = int((held_out["outcome"] == Outcome.MISSED.value).sum())
    return (
        shown(
            "failures",
            "Each failure of the test, with its signal, for an expert to judge.",
            f"{wrong} wrong and {missed} missed held-out sections, listed one by one, with traces.",
            "Gallery of errors",
        ),
        not_shown(
            "causes",
            "Why each failure happened.",
            "Traces are shown; no expert's finding on the cause is recorded.",
        ),
        partly(
            "unknown_inputs",
            "What it does with an input that it should not answer.",
            f"It abstains: {share_words(source.evaluation.held_out.abstention)} of the indicated held-out "
            "sections got no label. A trial with inputs that were spoilt on purpose is not recorded.",
            "Confusion matrix",
        ),
    )


def human_points(source: DossierSource) -> tuple[Point, ...]:
    """The human's role."""
    own = [entry for entry in source.log if entry.model_id == source.evaluation.model_id]
    asked = "Who answers for putting it to work."
    if own:
        people = ", ".join(dict.fromkeys(plain_text(entry.by) for entry in own))
        responsible = shown(
            "responsible", asked, f"Sign-offs in the log: {len(own)}, by {people}, with reasons.", "Sign-off"
        )
    else:
        responsible = not_shown("responsible", asked, "Nobody has signed anything on this model.")
    return (
        shown(
            "role",
            "What is left to a person.",
            "The label is advice to qualified personnel, who see trace, limit and probability; a seam that "
            "the limit rule rejects stays rejected.",
            _LIMITS,
        ),
        responsible,
        not_shown(
            "people_with_aid",
            "How people do with the aid, and whether they lean on it too much.",
            "The figures are of the model alone; no trial with people is recorded.",
        ),
        not_shown(
            "personnel",
            "That the personnel are trained for this system.",
            "The log holds names, no certificates.",
        ),
        not_shown(
            "monitoring",
            "How performance is watched in use, and by whom.",
            "This record ends with the evaluation; sections cut afterwards enter the next one.",
        ),
        not_shown(
            "independent_body",
            "That a body independent of the makers has judged the evidence.",
            "Lines to sign on paper are at the end; no judgement of such a body is recorded.",
        ),
    )
