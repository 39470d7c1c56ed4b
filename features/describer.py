"""From a seam trace to its indications, and from each indication to its descriptors.

`SeamDescriber`, the scikit-learn transformer, can be imported from here too; it is
loaded on first use, because scikit-learn takes a second.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from seamtell.features.channel import read_channels
from seamtell.features.contracts import Channel, Indication, RecipeLimits, SeamTrace
from seamtell.features.descriptors.profile import IndicationView, Profile
from seamtell.features.descriptors.registry import ALL, names
from seamtell.features.indications import IndicationSettings, count_in_dead_zones, group_indications
from seamtell.features.rounding import grid_pct, on_grid
from seamtell.features.smoothing import SMOOTH_BEAMS, smoothed_pct

if TYPE_CHECKING:
    import pandas as pd

    from seamtell.features.transformer import SeamDescriber

__all__ = [
    "INDICATION_COLUMNS",
    "SeamAnalysis",
    "SeamDescriber",
    "analyse_seam",
    "describe_seam",
    "describe_table",
    "view_indication",
]

INDICATION_COLUMNS: tuple[str, ...] = (
    "seam_id",
    "indication",
    "start_mm",
    "end_mm",
    "peak_mm",
    "exceeds_limit",
    "channels",
    "exceeded_channels",
)
"""Columns of `describe_table` before the descriptors."""


@dataclass(frozen=True, eq=False)
class SeamAnalysis:
    """One seam with all that was found on it.

    Parameters
    ----------
    trace : SeamTrace
    limits : RecipeLimits
    baseline_pct : mapping of str to ndarray of shape (n,)
        Of each channel, % FSH.
    level_pct : mapping of str to float
        Level of each baseline as a whole, % FSH.
    noise_pct : mapping of str to float
        Standard deviation of single samples of each channel, % FSH.
    indications : tuple of Indication
        Outside the dead zones, in order of position.
    dead_zone_indications : int
        How many more lie inside the dead zones: seen, counted, not judged.
    """

    trace: SeamTrace
    limits: RecipeLimits
    baseline_pct: Mapping[str, NDArray[np.float64]]
    level_pct: Mapping[str, float]
    noise_pct: Mapping[str, float]
    indications: tuple[Indication, ...]
    dead_zone_indications: int = 0


def analyse_seam(
    trace: SeamTrace, limits: RecipeLimits, settings: IndicationSettings | None = None
) -> SeamAnalysis:
    """Baseline, noise and indications of one seam.

    Parameters
    ----------
    trace : SeamTrace
    limits : RecipeLimits
        Of the trace's recipe.
    settings : IndicationSettings, optional

    Returns
    -------
    SeamAnalysis

    Raises
    ------
    SeamtellError
        When the trace lacks a channel or holds values that are not finite.
    """
    settings = settings or IndicationSettings()
    signals = read_channels(trace, limits.beam_width_mm)
    return SeamAnalysis(
        trace=trace,
        limits=limits,
        baseline_pct={name: signal.baseline_pct for name, signal in signals.items()},
        level_pct={name: signal.level_pct for name, signal in signals.items()},
        noise_pct={name: signal.noise_pct for name, signal in signals.items()},
        indications=group_indications(trace, limits, settings, signals),
        dead_zone_indications=count_in_dead_zones(trace, limits, settings, signals),
    )


def describe_seam(analysis: SeamAnalysis) -> NDArray[np.float64]:
    """All descriptors of all indications of one seam.

    Parameters
    ----------
    analysis : SeamAnalysis

    Returns
    -------
    ndarray of shape (n_indications, n_descriptors)
        Columns as `seamtell.features.descriptors.registry.names`; always finite.
    """
    values = np.empty((len(analysis.indications), len(ALL)))
    excursions = _excursions(analysis) if analysis.indications else {}
    for row, indication in enumerate(analysis.indications):
        view = _view(analysis, indication, excursions)
        values[row] = [one(view) for one in ALL]
    return values


def describe_table(analyses: Iterable[SeamAnalysis]) -> pd.DataFrame:
    """One row per indication: where it is, and every descriptor.

    Parameters
    ----------
    analyses : iterable of SeamAnalysis
        Taken one by one, so they may come from a store larger than memory.

    Returns
    -------
    pandas.DataFrame
        Columns `INDICATION_COLUMNS`, then the descriptors as float64. Several channels
        are written as ``specular+scatter``.
    """
    import pandas as pd

    rows: list[tuple[str, int, float, float, float, bool, str, str]] = []
    blocks = [np.empty((0, len(ALL)))]
    for analysis in analyses:
        rows += [_row(indication) for indication in analysis.indications]
        blocks.append(describe_seam(analysis))
    columns = list(zip(*rows, strict=True)) if rows else [()] * len(INDICATION_COLUMNS)
    kinds = ("str", "int64", "float64", "float64", "float64", "bool", "str", "str")
    heads = {
        name: pd.Series(list(column), dtype=object if kind == "str" else kind)
        for name, column, kind in zip(INDICATION_COLUMNS, columns, kinds, strict=True)
    }
    described = pd.DataFrame(np.vstack(blocks), columns=list(names()))
    return pd.concat([pd.DataFrame(heads), described], axis=1)


def view_indication(analysis: SeamAnalysis, indication: Indication) -> IndicationView:
    """What the descriptors read of one indication of a seam."""
    return _view(analysis, indication, _excursions(analysis))


def _row(found: Indication) -> tuple[str, int, float, float, float, bool, str, str]:
    return (
        found.seam_id,
        found.indication,
        found.start_mm,
        found.end_mm,
        found.peak_mm,
        found.exceeds_limit,
        "+".join(found.channels),
        "+".join(found.exceeded_channels),
    )


def _excursions(analysis: SeamAnalysis) -> dict[Channel, NDArray[np.float64]]:
    """Smoothed amplitude over the baseline of the two channels that the descriptors read."""
    trace, width_mm = analysis.trace, SMOOTH_BEAMS * analysis.limits.beam_width_mm
    excursions = {}
    for channel in Channel:
        amplitude = np.asarray(trace.amplitudes_pct[channel], np.float64)
        excursion = smoothed_pct(amplitude, trace.pitch_mm, width_mm) - analysis.baseline_pct[channel]
        excursions[channel] = on_grid(excursion, grid_pct(amplitude))
    return excursions


def _view(
    analysis: SeamAnalysis, indication: Indication, excursions: Mapping[Channel, NDArray[np.float64]]
) -> IndicationView:
    trace = analysis.trace
    others = [other for other in analysis.indications if other is not indication]
    gaps_mm = [max(o.start_mm - indication.end_mm, indication.start_mm - o.end_mm) for o in others]
    before, after = _window(analysis, indication, others)
    extent = tuple(
        round((x - trace.start_mm) / trace.pitch_mm) for x in (indication.start_mm, indication.end_mm)
    )
    profiles = {
        channel: _profile(analysis, channel, excursions[channel], (before, after), (extent[0], extent[1]))
        for channel in Channel
    }
    return IndicationView(
        specular=profiles[Channel.SPECULAR],
        scatter=profiles[Channel.SCATTER],
        end_distance_mm=min(indication.start_mm - trace.start_mm, trace.end_mm - indication.end_mm),
        neighbour_gaps_mm=tuple(gaps_mm),
        thickness_a_mm=trace.thickness_a_mm,
        thickness_b_mm=trace.thickness_b_mm,
    )


def _window(analysis: SeamAnalysis, indication: Indication, others: list[Indication]) -> tuple[int, int]:
    """First and last sample: one beam width round the extent, up to half way to a neighbour."""
    trace, beam_mm = analysis.trace, analysis.limits.beam_width_mm
    left_mm, right_mm = indication.start_mm - beam_mm, indication.end_mm + beam_mm
    for other in others:
        if other.end_mm <= indication.start_mm:
            left_mm = max(left_mm, (other.end_mm + indication.start_mm) / 2.0)
        if other.start_mm >= indication.end_mm:
            right_mm = min(right_mm, (other.start_mm + indication.end_mm) / 2.0)
    slack = 1e-9 * trace.pitch_mm
    first = int(np.ceil((left_mm - trace.start_mm - slack) / trace.pitch_mm))
    last = int(np.floor((right_mm - trace.start_mm + slack) / trace.pitch_mm))
    return max(first, 0), min(last, trace.n_samples - 1)


def _profile(
    analysis: SeamAnalysis,
    channel: Channel,
    excursion_pct: NDArray[np.float64],
    window: tuple[int, int],
    extent: tuple[int, int],
) -> Profile:
    trace = analysis.trace
    inside = slice(extent[0], extent[1] + 1)
    specular_level = float(analysis.baseline_pct[Channel.SPECULAR][inside].mean())
    return Profile(
        position_mm=trace.start_mm + trace.pitch_mm * np.arange(window[0], window[1] + 1, dtype=np.float64),
        excursion_pct=excursion_pct[window[0] : window[1] + 1],
        first=extent[0] - window[0],
        last=extent[1] - window[0],
        noise_pct=analysis.noise_pct[channel],
        level_pct=float(analysis.baseline_pct[channel][inside].mean()),
        specular_level_pct=max(specular_level, analysis.noise_pct[Channel.SPECULAR]),
        highest_pct=float(np.max(trace.amplitudes_pct[channel][inside])),
        limit_pct=float(analysis.limits.limit_pct.get(channel, np.inf)),
        beam_mm=analysis.limits.beam_width_mm,
    )


def __getattr__(name: str) -> Any:
    if name == "SeamDescriber":
        from seamtell.features.transformer import SeamDescriber

        return SeamDescriber
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
