"""What the invented shop is: lines, recipes, months and how often each flaw comes.

Marram Bay Carriage Works does not exist. Its laser lines weld steel blanks for
railway-carriage side panels, and it is a bad shop on purpose: about a third of its
seams carry a flaw, so that a few thousand seams yield enough to cut.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime

from seamtell.data_synth.head import Head, Joint
from seamtell.data_synth.nuisance_kinds import NuisanceSet
from seamtell.data_synth.nuisances import Nuisances
from seamtell.data_synth.shop_events import Fading, FixtureMark, Incident
from seamtell.features.contracts import Channel, Flaw, RecipeLimits

__all__ = ["CuttingPlan", "LinePlan", "RecipePlan", "ShopPlan", "limits_text"]


@dataclass(frozen=True)
class RecipePlan:
    """One thickness pair with its limits.

    Parameters
    ----------
    weight : float
        Share of a day's campaigns, relative to the other recipes of the month.
    first_month : int
        Month, counted from 0, in which the recipe is first welded.
    """

    name: str
    joint: Joint
    limit_specular_pct: float
    limit_scatter_pct: float
    weight: float = 1.0
    first_month: int = 0
    speed_m_per_min: float = 6.0

    def limits(self) -> RecipeLimits:
        """Limits of the shop's procedure for this recipe."""
        limit_pct = {"specular": self.limit_specular_pct, "scatter": self.limit_scatter_pct}
        return RecipeLimits(self.name, limit_pct, DEAD_ZONE_MM, DEAD_ZONE_MM, BEAM_WIDTH_MM)


DEAD_ZONE_MM = 15.0
BEAM_WIDTH_MM = 9.4


@dataclass(frozen=True)
class LinePlan:
    """One production line with its head.

    Parameters
    ----------
    gain_db : mapping of Channel to float
        Against the reference of 100 %.
    wear_db_per_week : float
        Amplitude that the head loses while its coils wear (invented: 0.1 dB a week).
    head_changed_in_week : int
        A fresh head ends the wear.
    new_head : Head, optional
        Of slightly other make: its beam is not quite the old one's. Default: the same again.
    new_head_step_db : mapping of Channel to float
        How much more sensitive the fresh head is than the old one was when new.
    lack_of_fusion_factor : float
        Lack of fusion on this line against the shop's rate.
    fading : Fading, optional
        A loss beside the wear.
    """

    name: str
    pitch_mm: float
    gain_db: Mapping[Channel, float]
    wear_db_per_week: float
    head_changed_in_week: int
    head: Head = field(default_factory=Head)
    lack_of_fusion_factor: float = 1.0
    new_head: Head | None = None
    new_head_step_db: Mapping[Channel, float] = field(default_factory=lambda: dict.fromkeys(Channel, 0.0))
    fading: Fading | None = None

    def head_after(self, weeks: float) -> Head:
        """Head that is mounted `weeks` after the start."""
        return self.head if weeks < self.head_changed_in_week or self.new_head is None else self.new_head

    def gain_after(self, weeks: float) -> dict[Channel, float]:
        """Gain of each channel `weeks` after the start."""
        exchanged = weeks >= self.head_changed_in_week
        worn = weeks - self.head_changed_in_week if exchanged else weeks
        faded = 0.0 if self.fading is None else self.fading.loss_after(weeks)
        return {
            channel: gain
            - self.wear_db_per_week * worn
            - faded
            + (self.new_head_step_db[channel] if exchanged else 0.0)
            for channel, gain in self.gain_db.items()
        }


@dataclass(frozen=True)
class CuttingPlan:
    """How the shop cuts, and how well its examiners see.

    Parameters
    ----------
    targeted_share, random_share : float
        Share of cuts at what the plot shows and at random places; the rest are planned.
    excursion_share_of_limit : float
        A targeted cut needs an excursion above the seam's own median of this share of
        the way to the limit.
    below_limit_weight : float
        Chance to be cut of an excursion below the limit against one above it.
    wrong_label_share : float
        Cuts that the examiner names after a neighbouring class (examiners disagree in a
        few percent of cases: common practice, magnitude invented).
    tolerances_mm : tuple of float
        Stated position tolerances; the true error has half of it as standard deviation.
    """

    targeted_share: float = 0.86
    random_share: float = 0.10
    excursion_share_of_limit: float = 0.25
    below_limit_weight: float = 0.7
    wrong_label_share: float = 0.03
    tolerances_mm: tuple[float, ...] = (0.5, 1.0, 1.5, 2.0)


def _lines() -> tuple[LinePlan, ...]:
    """Heads of one drawing, none exactly alike: apertures within 4 %, stand-offs within 0.4 mm (invented)."""
    return (
        LinePlan(
            "L1",
            0.5,
            {Channel.SPECULAR: 0.4, Channel.SCATTER: 0.2},
            0.08,
            15,
            Head(aperture_sd_mm=5.1, stand_off_mm=15.0),
            new_head=Head(aperture_sd_mm=4.95, stand_off_mm=15.2),
            new_head_step_db={Channel.SPECULAR: 0.5, Channel.SCATTER: 0.1},
        ),
        LinePlan(
            "L2",
            0.4,
            {Channel.SPECULAR: -0.5, Channel.SCATTER: -0.9},
            0.12,
            11,
            Head(aperture_sd_mm=4.8, stand_off_mm=15.4),
            lack_of_fusion_factor=1.4,
            new_head=Head(aperture_sd_mm=4.9, stand_off_mm=15.1),
            new_head_step_db={Channel.SPECULAR: -0.3, Channel.SCATTER: 0.3},
        ),
    )


def _rates() -> dict[Flaw, float]:
    return {Flaw.PINHOLE: 0.10, Flaw.EDGE_NOTCH: 0.105, Flaw.LACK_OF_FUSION: 0.075, Flaw.MISMATCH: 0.11}


def _month_factors() -> dict[Flaw, tuple[float, ...]]:
    """Gas trouble in spring, a worn clamp that lets sheets slip towards the end."""
    return {
        Flaw.PINHOLE: (0.8, 0.9, 1.6, 1.4, 0.8, 0.7),
        Flaw.EDGE_NOTCH: (1.1, 1.0, 0.9, 0.9, 1.0, 1.1),
        Flaw.LACK_OF_FUSION: (0.9, 1.1, 0.9, 1.2, 1.0, 0.9),
        Flaw.MISMATCH: (0.7, 0.7, 0.8, 1.0, 1.3, 1.7),
    }


@dataclass(frozen=True)
class ShopPlan:
    """Everything that defines the shop apart from its seed.

    Parameters
    ----------
    flaws_per_seam : mapping of Flaw to float
        Mean number on a seam.
    month_factors : mapping of Flaw to tuple of float
        One factor a month on that mean; as many months, of equal length, as there are factors.
    close_second_share : float
        Share of flaws with another flaw 3-25 mm away.
    incidents, marks : tuple
        What happens beside these rates.
    """

    recipes: tuple[RecipePlan, ...] = (
        RecipePlan("MB-1513", Joint(1.5, 1.3), 18.0, 6.0, speed_m_per_min=6.0),
        RecipePlan("MB-1815", Joint(1.8, 1.5), 21.0, 6.0, weight=0.7, speed_m_per_min=5.0),
        RecipePlan("MB-1210", Joint(1.2, 1.0), 21.0, 6.0, weight=0.6, first_month=5, speed_m_per_min=7.5),
    )
    lines: tuple[LinePlan, ...] = field(default_factory=_lines)
    start: datetime = datetime(2025, 3, 3, tzinfo=UTC)
    days: int = 182
    seam_length_mm: tuple[float, float] = (300.0, 600.0)
    flaws_per_seam: Mapping[Flaw, float] = field(default_factory=_rates)
    month_factors: Mapping[Flaw, tuple[float, ...]] = field(default_factory=_month_factors)
    close_second_share: float = 0.10
    nuisances: NuisanceSet = field(default_factory=Nuisances)
    cutting: CuttingPlan = field(default_factory=CuttingPlan)
    incidents: tuple[Incident, ...] = ()
    marks: tuple[FixtureMark, ...] = ()

    @property
    def months(self) -> int:
        """Into how many parts the shop's days are cut."""
        return len(next(iter(self.month_factors.values())))

    def month_of(self, day: int) -> int:
        """Month of a day, both counted from 0."""
        return min(day * self.months // self.days, self.months - 1)


def limits_text(plan: ShopPlan) -> str:
    """Write the limits of all recipes as TOML."""
    lines = [
        "# Limits of Marram Bay Carriage Works (an invented shop), one table a recipe.",
        "schema_version = 1",
    ]
    for recipe in plan.recipes:
        lines += [
            "",
            f'[recipe."{recipe.name}"]',
            f"limit_pct = {{ specular = {recipe.limit_specular_pct}, scatter = {recipe.limit_scatter_pct} }}",
            f"dead_zone_start_mm = {DEAD_ZONE_MM}",
            f"dead_zone_end_mm = {DEAD_ZONE_MM}",
            f"beam_width_mm = {BEAM_WIDTH_MM}",
        ]
    return "\n".join(lines) + "\n"
