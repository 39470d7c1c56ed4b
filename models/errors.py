"""The error of a model folder that cannot be trusted."""

from __future__ import annotations

from seamtell.features.errors import SeamtellError
from seamtell.models.reasons import Reason

__all__ = ["ModelRefused"]


class ModelRefused(SeamtellError):
    """A model folder differs from what was saved, or from what this version can read.

    Parameters
    ----------
    what, where, do : str
        As for `SeamtellError`; `where` names the file.
    reason : Reason
        What an indication that was to be labelled with this model gets as its reason.
    """

    def __init__(
        self, what: str, *, where: str = "", do: str = "", reason: Reason = Reason.MODEL_DIGEST_MISMATCH
    ) -> None:
        super().__init__(what, where=where, do=do)
        self.reason = reason
