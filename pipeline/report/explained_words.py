"""A simulated flaw in words, as a reader of a report says it."""

from __future__ import annotations

from collections.abc import Mapping

from seamtell.data_synth.simulated_flaw import EchoCause, SimulatedFlaw, Size
from seamtell.features.contracts import Side

__all__ = ["FIT_LABEL", "cause_words", "flaw_words", "range_words"]

FIT_LABEL = "model fit, not a measurement"
"""Stands wherever a fitted size stands."""

_SIZE_WORDS: Mapping[Size, str] = {
    Size.LENGTH: "length",
    Size.DEPTH: "depth",
    Size.WIDTH: "across",
    Size.DIAMETER: "diameter",
    Size.GAP: "distance",
    Size.LOWERED: "lowered",
    Size.RAISED: "raised",
    Size.HEIGHT: "height",
    Size.GAIN: "gain",
}
_SHIFT_WORDS = {True: "lowered", False: "raised"}


def cause_words(cause: EchoCause) -> str:
    """Name of a cause; what is sound metal says so.

    Examples
    --------
    >>> cause_words(EchoCause.DROPLET), cause_words(EchoCause.LACK_OF_FUSION)
    ('sound: droplet', 'lack of fusion')
    """
    name = cause.value.replace("_", " ")
    return f"sound: {name}" if cause in (EchoCause.DROPLET, EchoCause.GAIN_CHANGE) else name


def flaw_words(flaw: SimulatedFlaw) -> str:
    """Sizes of one simulated flaw.

    Examples
    --------
    >>> flaw_words(SimulatedFlaw(EchoCause.MISMATCH, length_mm=25.2, shift_mm=-0.3, ramp_mm=4))
    '25 mm long, sheet B raised by 0.30 mm'
    """
    if flaw.cause is EchoCause.PINHOLE:
        return _hole_words(flaw)
    length = _length(flaw.length_mm)
    if flaw.cause is EchoCause.MISMATCH:
        way = _SHIFT_WORDS[flaw.shift_mm > 0]
        return f"{length} mm long, sheet B {way} by {abs(flaw.shift_mm):.2f} mm"
    if flaw.cause is EchoCause.DROPLET:
        return f"{length} mm long, {flaw.height_mm:.2f} mm high, {flaw.width_mm:.1f} mm across"
    if flaw.cause is EchoCause.GAIN_CHANGE:
        return f"{flaw.gain_db:+.1f} dB over {length} mm" if abs(flaw.gain_db) >= 0.05 else "no change"
    lean = ", depth uneven" if flaw.lean else ""
    return f"{length} mm long, {flaw.depth_mm:.2f} mm deep from the {flaw.side.value}{lean}"


def _hole_words(flaw: SimulatedFlaw) -> str:
    if flaw.gap_mm:
        return f"holes of {flaw.diameter_mm:.1f} and {flaw.second_mm:.1f} mm, {flaw.gap_mm:.1f} mm apart"
    if flaw.side is Side.THROUGH:
        return f"{flaw.diameter_mm:.2f} mm across, through"
    return f"{flaw.diameter_mm:.2f} mm across, {flaw.depth_mm:.2f} mm deep from the {flaw.side.value}"


def range_words(ranges: Mapping[Size, tuple[float, float]]) -> str:
    """Ranges of sizes that fit almost as well.

    Examples
    --------
    >>> range_words({Size.LENGTH: (13.2, 15.0), Size.DEPTH: (1.2, 1.4)})
    'length 13 to 15 mm; depth 1.20 to 1.40 mm'
    """
    parts = []
    for size, (low, high) in ranges.items():
        if size is Size.GAIN:
            parts.append(f"gain {low:+.1f} to {high:+.1f} dB")
        else:
            show = _length if size in (Size.LENGTH, Size.GAP) else "{:.2f}".format
            both = show(low) if show(low) == show(high) else f"{show(low)} to {show(high)}"
            parts.append(f"{_SIZE_WORDS[size]} {both} mm")
    return "; ".join(parts)


def _length(value_mm: float) -> str:
    return f"{value_mm:.1f}" if value_mm < 10 else f"{value_mm:.0f}"
