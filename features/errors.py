"""The errors a user can cause, in the form: what is wrong, where, what to do."""

from __future__ import annotations

__all__ = ["SeamtellError"]


class SeamtellError(Exception):
    """Something the user can put right.

    Parameters
    ----------
    what : str
        What was got and what was expected.
    where : str, optional
        File, row, seam or section concerned.
    do : str, optional
        What to do about it.

    Examples
    --------
    >>> print(SeamtellError("no recipe 'R9'", where="limits.toml", do="add [recipe.R9]"))
    limits.toml: no recipe 'R9'. To do: add [recipe.R9]
    """

    def __init__(self, what: str, *, where: str = "", do: str = "") -> None:
        self.what = what
        self.where = where
        self.do = do
        super().__init__(what)

    def __str__(self) -> str:
        text = f"{self.where}: {self.what}" if self.where else self.what
        return f"{text}. To do: {self.do}" if self.do else text
