"""Detection over flaw size from answered sections: hits, misses and curves, class by class."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from seamtell.features.contracts import Flaw, Purpose
from seamtell.pipeline.acceptance.detection import DetectionCurve, fit_detection
from seamtell.pipeline.acceptance.detectors import SIZES_OF, Detector, FlawSize
from seamtell.pipeline.acceptance.hit_miss_likelihood import Link
from seamtell.pipeline.acceptance.record import ConcernText, Detection, DetectionPoint
from seamtell.pipeline.evaluation.result import Outcome
from seamtell.pipeline.evaluation.scopes import CLASS_LEFT_OUT

__all__ = ["detection_rows", "detections"]


def detection_rows(frame: pd.DataFrame, indications: pd.DataFrame, sections: pd.DataFrame) -> pd.DataFrame:
    """Every flaw that tells of detection, with its sizes and whether each detector has it.

    Detection needs no model, so sections that trained one count too. A second cut through
    the same flaw does not count, nor does a section that nothing can be said of.

    Parameters
    ----------
    frame : DataFrame
        Answered sections of all scopes, `SECTION_COLUMNS` of the evaluation.
    indications : DataFrame
        Described indications: ``seam_id, indication, channels`` (joined with ``+``).
    sections : DataFrame
        Section table: ``section_id`` and the sizes.

    Returns
    -------
    DataFrame
        ``section_id, truth, purpose``, a float column for each `FlawSize` (NaN where it was
        not measured) and a bool column for each `Detector`.
    """
    untaught = (frame["outcome"] == Outcome.LEFT_OUT) & (frame["reason"] == CLASS_LEFT_OUT)
    told = ~frame["outcome"].isin([Outcome.LEFT_OUT, Outcome.SHARED]) | untaught
    rows = frame[told & (frame["truth"] != Flaw.SOUND)]
    numbers = rows["indication"].fillna(-1).astype("int64")
    keys = pd.MultiIndex.from_arrays([rows["seam_id"].astype(str), numbers])
    shown = indications.set_index(["seam_id", "indication"])["channels"].reindex(keys)
    channels = [set(text.split("+")) if isinstance(text, str) else set() for text in shown]
    sizes = sections.set_index(sections["section_id"].astype(str)).reindex(rows["section_id"])
    found = pd.DataFrame(
        {
            "section_id": rows["section_id"].to_numpy(str),
            "truth": rows["truth"].to_numpy(str),
            "purpose": rows["purpose"].to_numpy(str),
            **{size.value: pd.to_numeric(sizes[size]).to_numpy(float) for size in FlawSize},
            Detector.SPECULAR: [Detector.SPECULAR in names for names in channels],
            Detector.SCATTER: [Detector.SCATTER in names for names in channels],
            Detector.EITHER: [bool(names) for names in channels],
            Detector.LIMIT_RULE: rows["limit_exceeded"].to_numpy(bool),
        }
    )
    return found.sort_values("section_id", kind="stable", ignore_index=True)


def detections(rows: pd.DataFrame) -> tuple[Detection, ...]:
    """A curve, or its refusal, for each class, each of its sizes, each detector and both links.

    Parameters
    ----------
    rows : DataFrame
        As `detection_rows` gives them.
    """
    return tuple(_every_curve(rows))


def _every_curve(rows: pd.DataFrame) -> Iterator[Detection]:
    for flaw, sizes in SIZES_OF.items():
        of_class = rows[rows["truth"] == flaw]
        for size in sizes:
            values = of_class[size].to_numpy(float)
            sized = of_class[np.isfinite(values) & (values > 0)]
            for detector in Detector:
                for link in Link:
                    yield _detection(flaw, size, detector, link, sized, len(of_class) - len(sized))


def _detection(
    flaw: Flaw, size: FlawSize, detector: Detector, link: Link, sized: pd.DataFrame, without_size: int
) -> Detection:
    values, hits = sized[size].to_numpy(float), sized[detector].to_numpy(bool)
    curve = fit_detection(values, hits, link)
    points = zip(sized["section_id"], values.tolist(), hits.tolist(), strict=True)
    return Detection(
        label=flaw.value,
        detector=detector.value,
        size=size.value,
        link=link.value,
        points=tuple(DetectionPoint(section_id=one, size_mm=at, hit=hit) for one, at, hit in points),
        sections_without_size=without_size,
        penalised=curve.penalised,
        intercept=curve.intercept,
        slope=curve.slope,
        a50_mm=curve.a50_mm,
        a90_mm=curve.a90_mm,
        a90_95_mm=curve.a90_95_mm,
        sizes_mm=_rounded(curve.sizes_mm),
        pod=_rounded(curve.pod),
        pod_low=_rounded(curve.pod_low),
        fit_p=curve.fit_p,
        asymptote=curve.asymptote,
        asymptote_p=curve.asymptote_p,
        concerns=_concerns(curve),
        words=_words(detector, sized),
    )


def _rounded(values: np.ndarray) -> tuple[float, ...]:
    """For a drawing, and so that the last bit of an optimiser does not change the file."""
    return tuple(round(float(value), 6) for value in values)


def _concerns(curve: DetectionCurve) -> tuple[ConcernText, ...]:
    return tuple(
        ConcernText(doubt=one.doubt.value, text=one.text, refusal=one.refusal) for one in curve.concerns
    )


def _words(detector: Detector, sized: pd.DataFrame) -> str:
    targeted = int((sized["purpose"] == Purpose.TARGETED).sum())
    text = f"A hit is {detector.words}; {len(sized)} sized flaws, {targeted} of them from targeted cuts"
    if targeted == 0:
        return f"{text}."
    return (
        f"{text}, which are made where something shows already: they overrate detection, of small flaws most."
    )
