"""The corrected flaw mix: its part of the schema of ``mix.json``.

A figure that the sections cannot give has no estimate and says why; it is never zero.
"""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict

__all__ = ["Behaviour", "FlawFigures", "GroupContrast", "GroupMix", "MixFigure", "RawCount", "SectionsUsed"]


class _Figures(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class MixFigure(_Figures):
    """One corrected figure with its interval, or why there is none."""

    estimate: float | None = None
    low: float | None = None
    high: float | None = None
    unknown: str = ""

    def __str__(self) -> str:
        if self.estimate is not None:
            # What is far below the upper end is as good as nothing, and 5e-168 would not be read as that.
            least = 1e-4 * (self.high or 0.0)
            figures = (f"{one:.3g}" if one >= least else "0" for one in (self.estimate, self.low or 0.0))
            return "{} [{}, {:.3g}]".format(*figures, self.high)
        if self.high is None:
            return self.unknown if self.unknown == "not a flaw" else "unknown"
        return f"unknown, {self.low or 0.0:.3g} to {self.high:.3g}"


class RawCount(_Figures):
    """How often a label was given, as it stands: not corrected."""

    label: str
    count: int
    share: float | None
    """None when the group has no indication."""
    low: float | None
    high: float | None
    """Exact interval of the share; it does not contain the classifier's confusion."""


class FlawFigures(_Figures):
    """Corrected figures of one truth: a flaw, or ``sound`` for false indications."""

    label: str
    share_of_indications: MixFigure
    share_of_flaws: MixFigure
    """Among indications that are flaws; of ``sound`` there is none."""
    per_seam: MixFigure
    per_metre: MixFigure
    per_1000_parts: MixFigure
    """A part is a seam, unless a metadata column ``part`` says which seams are of one part."""
    per_metre_with_missed: MixFigure
    """With the flaws that raised no indication, where random cuts bound their share."""
    largest_probability: float | None = None
    """That this flaw is the most frequent one of the group."""
    sections_wanted: int
    """Further sections of this class at indications that would settle its share; 0 when settled."""


class GroupMix(_Figures):
    """One group of seams."""

    group: str
    seams: int
    parts: float
    metres: float
    indications: int
    smaller: int
    """Further indications, lower than the sections speak of: they are in no figure."""
    dispersion: float
    """Variance of the counts over that of independent indications, between coils."""
    raw: tuple[RawCount, ...]
    flaws: tuple[FlawFigures, ...]


class GroupContrast(_Figures):
    """Rate per metre of a flaw in a group over that in all other seams."""

    group: str
    label: str
    ratio: float
    low: float
    high: float
    p: float
    p_adjusted: float
    """Holm, over all contrasts."""


class SectionsUsed(_Figures):
    """What the correction rests on."""

    sections: dict[str, int]
    """At indications, by truth."""
    design: str
    """``random``, ``by_stratum``, or empty without any."""
    words: str
    uncut_share: float
    """Share of indications of a kind that no section speaks of."""
    lowest_height_share: float | None
    """Height as a share of the limit below which too few were cut to say anything; None for none."""
    reference_seams: int
    """Seams of the sections' period that the model answered, to know how sections were chosen."""


class Behaviour(_Figures):
    """Whether the classifier still answers as it did to the sections."""

    fit_p: float | None
    sections_p: float | None
    changed: bool
    """Then no correction is valid and none is given."""
    words: str
