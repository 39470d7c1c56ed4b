from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np
import pytest

from seamtell.models.answers import NO_CODE, REASONS
from seamtell.pipeline.health.check_record import CheckEntry, checks_path
from seamtell.pipeline.health.flaw_return import Level
from seamtell.pipeline.health.refcheck import refcheck
from seamtell.pipeline.health.standing import suspensions_of
from seamtell.pipeline.health.suspension import EVER, NEVER, Suspensions, check_spans, suspect_span
from seamtell.pipeline.process_page.instrument_rows import instrument_of
from seamtell.pipeline.settings import HealthSettings, read_settings

from .conftest import START, WriteRun

HOUR = timedelta(hours=1)


def entry(hours: float, level: Level, line: str = "L1") -> CheckEntry:
    at = START + hours * HOUR
    return CheckEntry(
        run_id=f"{line}-{hours:g}", run_at=at, checked_at=at, line=line, head="", blank="REF",
        blank_digest="", warn_db=2.0, stop_db=4.0, tolerance_mm=2.0, flaws=(), level=level,
    )  # fmt: skip


def reasons(checks: list[CheckEntry], hours: list[float], line: str = "L1") -> list[str]:
    spans = Suspensions(check_spans(checks, timedelta(hours=12)))
    codes = spans.codes([line] * len(hours), [START + h * HOUR for h in hours])
    return ["" if code == NO_CODE else REASONS[code].value for code in codes]


FAILED, OVERDUE = "reference_check_failed", "reference_check_overdue"


def test_good_and_warning_checks_suspend_nothing_between_them() -> None:
    checks = [entry(0, Level.GOOD), entry(8, Level.WARN), entry(16, Level.GOOD)]
    assert reasons(checks, [0, 4, 8, 12, 20]) == [""] * 5


def test_a_stop_suspends_from_the_last_good_check_to_the_next() -> None:
    checks = [entry(0, Level.GOOD), entry(8, Level.STOP), entry(16, Level.STOP), entry(24, Level.GOOD)]
    assert reasons(checks, [-1, 0, 7, 9, 20, 24]) == ["", FAILED, FAILED, FAILED, FAILED, ""]


def test_before_a_first_check_that_stops_nothing_is_known() -> None:
    assert reasons([entry(0, Level.STOP)], [-1000, -1, 1]) == [FAILED] * 3


def test_an_overdue_check_suspends_from_the_hour_it_was_due_until_a_good_one() -> None:
    checks = [entry(0, Level.GOOD)]
    assert reasons(checks, [11, 12, 30]) == ["", OVERDUE, OVERDUE]
    assert reasons([*checks, entry(31, Level.GOOD)], [11, 12, 30]) == [""] * 3
    assert reasons([*checks, entry(31, Level.STOP)], [11, 12, 30]) == [FAILED] * 3


def test_another_line_is_not_touched() -> None:
    assert reasons([entry(0, Level.STOP)], [1], line="L2") == [""]


def test_what_is_suspect_spans_from_the_good_check_before_to_the_one_after() -> None:
    stop = entry(16, Level.STOP)
    checks = [entry(0, Level.GOOD), entry(8, Level.STOP), stop, entry(9, Level.GOOD, "L2")]
    span = suspect_span(checks, stop)
    assert (span.since, span.until) == (START, NEVER)
    assert suspect_span([stop], stop).since == EVER
    assert suspect_span([*checks, entry(30, Level.WARN)], stop).until == START + 30 * HOUR


@pytest.mark.parametrize("seed", range(5))
def test_the_spans_agree_with_looking_at_the_neighbours_of_each_seam(seed: int) -> None:
    """Against the rule said plainly: which checks stand right before and right after the seam?"""
    rng = np.random.default_rng(seed)
    hours = np.sort(rng.choice(200, 12, replace=False)).astype(float)
    levels = rng.choice(list(Level), 12)
    checks = [entry(h, Level(level)) for h, level in zip(hours, levels, strict=True)]
    at = (rng.uniform(-20, 250, 200)).tolist()

    def plain(h: float) -> str:
        before, after = np.flatnonzero(hours <= h), np.flatnonzero(hours > h)
        beside = [levels[before[-1]]] if len(before) else []
        beside += [levels[after[0]]] if len(after) else []
        if Level.STOP in beside:
            return FAILED
        return OVERDUE if not len(after) and h - hours[-1] >= 12 else ""

    assert reasons(checks, at) == [plain(h) for h in at]


def test_a_workspace_that_never_checked_suspends_nothing_unless_checks_are_required(ws) -> None:
    free, _ = suspensions_of(ws, HealthSettings(), now=START)
    required, _ = suspensions_of(ws, HealthSettings(require_check=True), now=START)
    assert free.codes(["L1"], [START])[0] == NO_CODE
    assert REASONS[required.codes(["L1"], [START])[0]].value == OVERDUE


def test_a_broken_record_suspends_every_line(ws, blank_path, write_run: WriteRun) -> None:
    refcheck(ws, blank_path, [write_run()], "L1", now=START)
    checks_path(ws).write_bytes(checks_path(ws).read_bytes()[:-20])
    suspensions, sentences = suspensions_of(ws, read_settings(ws.settings_path).health, now=START)
    codes = suspensions.codes(["L1", "L9"], [START, datetime(2030, 1, 1, tzinfo=START.tzinfo)])
    assert [REASONS[code].value for code in codes] == [FAILED] * 2
    assert "the record of reference checks is broken" in sentences[0]


def test_the_digest_tells_one_suspension_from_another() -> None:
    spans = check_spans([entry(0, Level.STOP)], timedelta(hours=12))
    assert Suspensions().digest != Suspensions(spans).digest
    assert Suspensions(spans).digest == Suspensions(dict(spans)).digest


def test_a_line_whose_check_is_overdue_now_is_told(ws, blank_path, write_run: WriteRun) -> None:
    refcheck(ws, blank_path, [write_run()], "L1", now=START)
    told = [suspensions_of(ws, HealthSettings(), now=START + h * HOUR)[1] for h in (11, 13)]
    assert told[0] == ()
    assert "welded from 2026-03-02 17:00 UTC on: its reference check is overdue" in told[1][0]


@pytest.mark.parametrize(("last", "suspended", "since"), [(11, 0, 1), (13, 1, 0)])
def test_the_process_page_tells_apart_what_was_suspended_for_its_seams_and_what_is_since(
    ws, blank_path, write_run: WriteRun, last: int, suspended: int, since: int
) -> None:
    refcheck(ws, blank_path, [write_run()], "L1", now=START)
    shown = instrument_of(ws, HealthSettings(), last_welded=START + last * HOUR, now=START + 20 * HOUR)
    assert (len(shown.suspended), len(shown.suspended_since)) == (suspended, since)
    (sentence,) = shown.suspended + shown.suspended_since
    assert sentence.startswith("Labels of line 'L1' are suspended for seams welded from 2026-03-02 17:00 UTC")
    assert sentence.endswith(".")
