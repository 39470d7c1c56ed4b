"""Indications: stretches of seam that stand out on at least one channel.

Each channel is segmented on its own, then segments of different channels that
belong together become one indication. Segments that overlap belong together. A
segment that overlaps nothing on the other channels joins the nearest one within
one beam width. So a lack of fusion, which shows one plateau on `specular` and its
two ends on `scatter`, is one indication, while two flaws side by side, each with
its own pair of segments, stay two.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seamtell.features.channel import ChannelSignal, read_channels
from seamtell.features.contracts import Indication, RecipeLimits, SeamTrace
from seamtell.features.errors import SeamtellError
from seamtell.features.rounding import SLACK
from seamtell.features.segments import Segment, find_segments

__all__ = [
    "IndicationSettings",
    "count_in_dead_zones",
    "find_indications",
    "group_indications",
    "judged_samples",
]


@dataclass(frozen=True)
class IndicationSettings:
    """Thresholds of the hysteresis, in units of the noise.

    Parameters
    ----------
    enter_sigma : float, default 5
        An indication needs one sample this far above the baseline.
    leave_sigma : float, default 2.5
        It ends where the excursion falls below this.

    Raises
    ------
    SeamtellError
        When not ``0 < leave_sigma <= enter_sigma``.
    """

    enter_sigma: float = 5.0
    leave_sigma: float = 2.5

    def __post_init__(self) -> None:
        if not 0.0 < self.leave_sigma <= self.enter_sigma < float("inf"):
            raise SeamtellError(
                f"got enter_sigma {self.enter_sigma} and leave_sigma {self.leave_sigma}, "
                "expected 0 < leave_sigma <= enter_sigma",
                where="indication settings",
                do="lower leave_sigma or raise enter_sigma",
            )


@dataclass(frozen=True)
class _Member:
    """One segment of one channel."""

    channel: str
    first: int
    last: int

    def gap_to(self, other: _Member) -> int:
        """Samples between two segments, negative when they overlap."""
        return max(self.first, other.first) - min(self.last, other.last) - 1


def find_indications(
    trace: SeamTrace, limits: RecipeLimits, settings: IndicationSettings | None = None
) -> tuple[Indication, ...]:
    """Indications of one seam, below the limits and above, in order of position.

    Parameters
    ----------
    trace : SeamTrace
    limits : RecipeLimits
        Limits, dead zones and beam width of the seam's recipe.
    settings : IndicationSettings, optional

    Returns
    -------
    tuple of Indication

    Raises
    ------
    SeamtellError
        When the trace lacks a channel or holds values that are not finite.
    """
    signals = read_channels(trace, limits.beam_width_mm)
    return group_indications(trace, limits, settings or IndicationSettings(), signals)


def judged_samples(trace: SeamTrace, limits: RecipeLimits) -> NDArray[np.bool_]:
    """Samples outside both dead zones, shape (n,)."""
    positions_mm = trace.positions_mm()
    first_mm = trace.start_mm + limits.dead_zone_start_mm
    last_mm = trace.end_mm - limits.dead_zone_end_mm
    return np.asarray((positions_mm >= first_mm) & (positions_mm <= last_mm))


def group_indications(
    trace: SeamTrace, limits: RecipeLimits, settings: IndicationSettings, signals: Mapping[str, ChannelSignal]
) -> tuple[Indication, ...]:
    """Indications from channels that have been read already; see `find_indications`."""
    groups = _groups(trace, limits, settings, signals, judged_samples(trace, limits))
    return tuple(_indication(trace, limits, signals, number, group) for number, group in enumerate(groups))


def count_in_dead_zones(
    trace: SeamTrace, limits: RecipeLimits, settings: IndicationSettings, signals: Mapping[str, ChannelSignal]
) -> int:
    """Number of groups of segments inside the dead zones: seen, counted, never judged."""
    dead = ~judged_samples(trace, limits)
    return len(_groups(trace, limits, settings, signals, dead)) if dead.any() else 0


def _groups(
    trace: SeamTrace,
    limits: RecipeLimits,
    settings: IndicationSettings,
    signals: Mapping[str, ChannelSignal],
    judged: NDArray[np.bool_],
) -> list[list[_Member]]:
    beam_samples = limits.beam_width_mm / trace.pitch_mm
    members = []
    for name, signal in signals.items():
        segments: list[Segment] = find_segments(
            signal.excursion_sigma,
            _above_limit(signal, limits, name),
            judged,
            beam_samples=beam_samples,
            enter_sigma=settings.enter_sigma,
            leave_sigma=settings.leave_sigma,
        )
        members += [_Member(name, first, last) for first, last in segments]
    return _join(members, beam_samples)


def _above_limit(signal: ChannelSignal, limits: RecipeLimits, name: str) -> NDArray[np.bool_]:
    return np.asarray(signal.amplitude_pct > limits.limit_pct.get(name, np.inf))


def _join(members: list[_Member], beam_samples: float) -> list[list[_Member]]:
    """Connected groups of segments, each in order, the groups in order of position."""
    group_of = list(range(len(members)))
    for i, member in enumerate(members):
        for j in _partners(i, member, members, beam_samples):
            old, new = group_of[j], group_of[i]
            group_of = [new if group == old else group for group in group_of]
    groups = [[m for m, g in zip(members, group_of, strict=True) if g == group] for group in set(group_of)]
    return sorted(groups, key=lambda group: min((member.first, member.last) for member in group))


def _partners(i: int, member: _Member, members: list[_Member], beam_samples: float) -> list[int]:
    """Segments of other channels that overlap, or else the nearest within one beam width."""
    gaps = {j: member.gap_to(m) for j, m in enumerate(members) if j != i and m.channel != member.channel}
    overlapping = [j for j, gap in gaps.items() if gap < 0]
    if overlapping or not gaps:
        return overlapping
    nearest = min(gaps, key=lambda j: gaps[j])
    return [nearest] if gaps[nearest] <= beam_samples else []


def _indication(
    trace: SeamTrace,
    limits: RecipeLimits,
    signals: Mapping[str, ChannelSignal],
    number: int,
    group: list[_Member],
) -> Indication:
    first, last = min(m.first for m in group), max(m.last for m in group)
    inside = slice(first, last + 1)
    shown = {m.channel for m in group}
    profiles = {name: signals[name].excursion_sigma[inside] for name in signals if name in shown}
    tops = {name: float(profile.max()) for name, profile in profiles.items()}
    enough = max(tops.values()) - SLACK * abs(max(tops.values()))
    strongest = next(name for name, top in tops.items() if top >= enough)
    peak = first + int(np.argmax(profiles[strongest]))
    over = (n for n, s in signals.items() if _above_limit(s, limits, n)[inside].any())
    return Indication(
        seam_id=trace.seam_id,
        indication=number,
        start_mm=trace.start_mm + first * trace.pitch_mm,
        end_mm=trace.start_mm + last * trace.pitch_mm,
        peak_mm=trace.start_mm + peak * trace.pitch_mm,
        channels=tuple(profiles),
        exceeded_channels=tuple(over),
    )
