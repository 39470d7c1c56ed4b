from __future__ import annotations

import tracemalloc

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import interp1d

from seamtell.pipeline.ingest.checks import MIN_SAMPLES, even_grid
from seamtell.pipeline.ingest.csv_text import read_bounded
from seamtell.pipeline.ingest.reasons import WHAT_TO_DO, InputRejected, ReasonCode

NAMES = "position_mm,specular,scatter"


def replaced(rows, at, row):
    return [*rows[:at], row, *rows[at + 1 :]]


# Each entry: what the file is, the reason code, the line named (0: none), part of the message.
BAD_FILES = {
    "an empty file": (lambda s: "", "empty", 0, "empty"),
    "blank lines only": (lambda s: "\n\n\n", "empty", 0, "empty"),
    "a header and nothing else": (lambda s: s.header(), "empty", 0, "no samples"),
    "column names without samples": (lambda s: s.text(rows=[]), "empty", 0, "no samples"),
    "one sample": (
        lambda s: s.text(rows=s.rows(1)),
        "too_few_samples",
        0,
        f"1 samples, at least {MIN_SAMPLES}",
    ),
    "a missing column": (
        lambda s: s.text(names="position_mm,specular,other"),
        "missing_column",
        0,
        "'scatter'",
    ),
    "another delimiter": (
        lambda s: s.text([r.replace(",", ";") for r in s.rows()], names="position_mm;specular;scatter"),
        "missing_column",
        5,
        "only one column with delimiter ','",
    ),
    "two columns of one name": (
        lambda s: s.text(names="position_mm,specular,specular"),
        "duplicate_column",
        0,
        "'specular'",
    ),
    "a further column that is no channel": (
        lambda s: s.text([r + ",1" for r in s.rows()], names=NAMES + ",Temp [C]"),
        "extra_column",
        0,
        "Temp",
    ),
    "a line with a field too many": (
        lambda s: s.text(replaced(s.rows(), 3, "0.75,7.1,0.2,0.3")),
        "field_count",
        9,
        "4 fields for 3 columns",
    ),
    "a line with a field too few": (
        lambda s: s.text(replaced(s.rows(), 3, "0.75,7.1")),
        "field_count",
        9,
        "2 fields for 3 columns",
    ),
    "decimal commas read as column marks": (
        lambda s: s.text([r.replace(",", ",,").replace(".", ",").replace(",,", ",") for r in s.rows()]),
        "decimal_comma",
        6,
        "6 whole numbers for 3 columns",
    ),
    "a decimal comma in a quoted field": (
        lambda s: s.text(replaced(s.rows(), 2, '0.50,"7,1",0.2')),
        "decimal_comma",
        8,
        "'7,1' has a decimal comma",
    ),
    "a word among the numbers": (
        lambda s: s.text(replaced(s.rows(), 4, "1.00,seven,0.2")),
        "non_numeric",
        10,
        "'seven' is not a number",
    ),
    "an empty field": (
        lambda s: s.text(replaced(s.rows(), 4, "1.00,,0.2")),
        "non_numeric",
        10,
        "an empty field",
    ),
    "a not-a-number": (lambda s: s.text(replaced(s.rows(), 4, "1.00,NaN,0.2")), "not_finite", 10, "NaN"),
    "an infinity": (lambda s: s.text(replaced(s.rows(), 4, "1.00,7.0,-inf")), "not_finite", 10, "-inf"),
    "a negative amplitude": (
        lambda s: s.text(replaced(s.rows(), 4, "1.00,7.0,-0.5")),
        "negative_amplitude",
        10,
        "'scatter': -0.5 % FSH is below zero",
    ),
    "an amplitude above full screen": (
        lambda s: s.text(replaced(s.rows(), 4, "1.00,101.0,0.5")),
        "above_full_scale",
        10,
        "'specular': 101 % FSH",
    ),
    "a position twice": (
        lambda s: s.text(replaced(s.rows(), 4, "0.75,7.0,0.5")),
        "duplicate_position",
        10,
        "0.75 mm follows 0.75 mm",
    ),
    "a position that goes back": (
        lambda s: s.text(replaced(s.rows(), 4, "0.60,7.0,0.5")),
        "non_monotone_position",
        10,
        "0.6 mm follows 0.75 mm",
    ),
    "a long gap": (
        lambda s: s.text(s.rows()[:10] + s.rows()[16:]),
        "irregular_pitch",
        16,
        "a gap of 7.0 median steps",
    ),
    "a last line cut off": (lambda s: s.text()[:-9], "truncated", 45, "no line end"),
    "fewer samples than announced": (
        lambda s: s.text(n_samples="60"),
        "truncated",
        0,
        "40 samples, the header announces 60",
    ),
    "bytes that no text has": (
        lambda s: np.random.default_rng(1).bytes(4000),
        "binary_content",
        0,
        "not a text file",
    ),
    "another encoding": (
        lambda s: s.text(line="Straße 1").encode("cp1252"),
        "wrong_encoding",
        3,
        "not utf-8 text",
    ),
    "a file of two-byte characters": (
        lambda s: s.text().encode("utf-16"),
        "wrong_encoding",
        0,
        "mark of utf-16",
    ),
    "a line beyond all bounds": (lambda s: s.text() + "7" * 70_000, "line_too_long", 46, "more than 64 KiB"),
    "no seam id": (lambda s: s.text(seam_id=None), "missing_metadata", 0, "no seam_id"),
    "no time": (lambda s: s.text(welded_at=None), "missing_metadata", 0, "no welded_at"),
    "no line": (lambda s: s.text(line=""), "missing_metadata", 0, "no line"),
    "no recipe": (lambda s: s.text(recipe=None), "missing_metadata", 0, "no recipe"),
    "a recipe without limits": (
        lambda s: s.text(recipe="R9"),
        "unknown_recipe",
        0,
        "'R9' has no limits in limits.toml",
    ),
    "a time that cannot be": (
        lambda s: s.text(welded_at="2026-13-45"),
        "bad_metadata",
        0,
        "not an ISO 8601 time",
    ),
    "a time long ago": (lambda s: s.text(welded_at="0204-01-01"), "bad_metadata", 0, "the year 204"),
    "a thickness in words": (
        lambda s: s.text(thickness_a_mm="thick"),
        "bad_metadata",
        0,
        "thickness_a_mm 'thick'",
    ),
    "a thickness of zero": (lambda s: s.text(thickness_b_mm="0"), "bad_metadata", 0, "not a positive number"),
    "a seam id that is too long": (lambda s: s.text(seam_id="x" * 201), "bad_metadata", 0, "201 characters"),
    "a seam id with a bell": (lambda s: s.text(seam_id="S\a1"), "bad_metadata", 0, "control characters"),
}


@pytest.mark.parametrize("what", BAD_FILES)
def test_each_check_rejects_with_its_own_code_line_and_advice(shop, what):
    content, code, line, message = BAD_FILES[what]
    data = content(shop)
    row = shop.reject(data)
    assert (row.reason, row.row) == (code, line), row
    assert message in row.message
    assert row.do
    assert "\n" not in row.message
    kept = (shop.ws.rejected_dir / "files" / row.sha256).read_bytes()
    assert kept == (data.encode() if isinstance(data, str) else data)


def test_every_reason_code_has_advice():
    assert set(WHAT_TO_DO) == set(ReasonCode)


def test_a_file_larger_than_any_seam_is_refused_without_reading_it_whole(shop, tmp_path):
    path = shop.inbox / "huge.csv"
    with path.open("wb") as stream:
        stream.write(b"0.0,7.0,0.1\n" * 100)
        # A sparse file: two gigabytes that take no disk and that no reader should hold in memory.
        stream.truncate(2 << 30)
    tracemalloc.start()
    with pytest.raises(InputRejected, match="line_too_long"):
        read_bounded(path)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 300 << 20


def test_reverse_travel_is_turned_round_and_noted(shop):
    shop.take(shop.write(shop.text(), "forward.csv"))
    forward = shop.store.get("S1")
    report = shop.take(shop.write(shop.text(shop.rows()[::-1], seam_id="S2"), "backward.csv"))
    backward = shop.store.get("S2")
    assert [note.code for note in report.notes] == ["turned_round"]
    assert backward.start_mm == 0.0
    np.testing.assert_array_equal(backward.amplitudes_pct["scatter"], forward.amplitudes_pct["scatter"])


def test_saturated_samples_are_kept_and_flagged(shop):
    report = shop.take(shop.write(shop.text(replaced(shop.rows(), 5, "1.25,100.0,0.5"))))
    assert [note.code for note in report.notes] == ["saturated"]
    assert bool(shop.store.metadata()["saturated"][0])
    assert shop.store.get("S1").amplitudes_pct["specular"].max() == 100.0


def test_a_whisker_above_full_screen_is_rounding(shop):
    report = shop.take(shop.write(shop.text(replaced(shop.rows(), 5, "1.25,100.2,0.5"))))
    assert report.added == 1


def test_a_whisker_below_zero_becomes_zero(shop):
    report = shop.take(shop.write(shop.text(replaced(shop.rows(), 5, "1.25,7.0,-0.004"))))
    assert [note.code for note in report.notes] == ["rounded_to_zero"]
    assert shop.store.get("S1").amplitudes_pct["scatter"].min() == 0.0


def test_a_fraction_read_as_percent_is_warned_of_by_level(shop):
    rows = [f"{0.25 * i:.2f},0.07,0.003" for i in range(40)]
    report = shop.take(shop.write(shop.text(rows)))
    assert [note.code for note in report.notes] == ["looks_like_fraction"]


def test_swapped_channels_are_warned_of(shop):
    report = shop.take(shop.write(shop.text(names="position_mm,scatter,specular")))
    assert [note.code for note in report.notes] == ["channels_look_swapped"]


def test_a_missing_last_line_end_is_warned_of(shop):
    report = shop.take(shop.write(shop.text()[:-1]))
    assert report.added == 1
    assert [note.code for note in report.notes] == ["no_final_newline"]


def test_dropped_samples_are_filled_by_resampling_onto_the_even_grid(shop):
    rows = shop.rows()
    report = shop.take(shop.write(shop.text(rows[:10] + rows[12:])))
    assert [note.code for note in report.notes] == ["resampled"]
    trace = shop.store.get("S1")
    assert (trace.n_samples, trace.pitch_mm) == (40, 0.25)
    kept = np.array([[float(x) for x in row.split(",")] for row in rows[:10] + rows[12:]])
    # Outside reference: scipy's linear interpolation at the filled positions.
    expected = interp1d(kept[:, 0], kept[:, 1])(trace.positions_mm())
    np.testing.assert_allclose(trace.amplitudes_pct["specular"], expected, rtol=1e-6)


@settings(deadline=None, max_examples=60)
@given(st.data())
def test_resampling_never_lowers_the_highest_sample(data):
    from seamtell.pipeline.ingest.checks import _resample

    n = data.draw(st.integers(8, 60))
    steps = data.draw(st.lists(st.floats(0.5, 1.9), min_size=n - 1, max_size=n - 1))
    positions = np.concatenate(([0.0], np.cumsum(steps)))
    values = np.array(data.draw(st.lists(st.floats(0, 100), min_size=n, max_size=n)))
    start, pitch, longest = even_grid(positions)
    if longest == 0.0:
        return
    grid = np.arange(int((positions[-1] - start) / pitch + 0.5) + 1)
    even = _resample((positions - start) / pitch, values, grid)
    assert even.max() == values.max()
    assert even.min() >= values.min()


def test_rounded_positions_count_as_even():
    start, pitch, longest = even_grid(np.round(np.arange(300) / 3, 2))
    assert (start, longest) == (0.0, 0.0)
    assert pitch == pytest.approx(1 / 3, rel=1e-4)
