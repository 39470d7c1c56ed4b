"""Why a limit result is what it is, and why an indication got no label."""

from __future__ import annotations

from enum import StrEnum

__all__ = ["LimitReason", "Reason"]


class LimitReason(StrEnum):
    """Why the limit rule rejects; an accepted seam has the empty reason."""

    NO_LIMITS_FOR_RECIPE = "no_limits_for_recipe"
    """The procedure states no limit for the recipe, or none for one of the two channels."""
    UNUSABLE_LIMITS = "unusable_limits"
    """A limit or dead zone is not a finite number, or negative."""
    MISSING_CHANNEL = "missing_channel"
    """A channel with a limit is not in the trace, is empty or has another length."""
    NON_FINITE_AMPLITUDE = "non_finite_amplitude"
    """A sample of a judged channel is not a finite number."""
    NOTHING_JUDGED = "nothing_judged"
    """The dead zones cover the whole seam."""
    ABOVE_LIMIT = "above_limit"
    """At least one sample outside the dead zones is above its limit, or saturated."""


class Reason(StrEnum):
    """Why an indication is ``unclassified``: the limit rule alone speaks."""

    NO_APPROVED_MODEL = "no_approved_model"
    APPROVAL_EXPIRED = "approval_expired"
    APPROVAL_BASIS_CHANGED = "approval_basis_changed"
    MODEL_DIGEST_MISMATCH = "model_digest_mismatch"
    SCHEMA_MISMATCH = "schema_mismatch"
    RECIPE_OUTSIDE_DOMAIN = "recipe_outside_domain"
    REFERENCE_CHECK_FAILED = "reference_check_failed"
    REFERENCE_CHECK_OVERDUE = "reference_check_overdue"
    DRIFT_ALARM = "drift_alarm"
    CONFLICTING_TRACES = "conflicting_traces"
    NOVEL = "novel"
    AMBIGUOUS = "ambiguous"
    NON_FINITE_DESCRIPTOR = "non_finite_descriptor"
    MODEL_ERROR = "model_error"
    MODEL_TIMEOUT = "model_timeout"
