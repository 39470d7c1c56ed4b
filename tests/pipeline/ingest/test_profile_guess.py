from __future__ import annotations

import io

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.ingest.profile import parse_profile
from seamtell.pipeline.ingest.profile_guess import guess_profile


def guessed(path):
    guess = guess_profile(path)
    return parse_profile(guess.text.encode("utf-8"), "guess"), guess


def test_the_contract_layout_is_recognised_and_ingests_with_the_guess(shop):
    path = shop.write(shop.text(coil="C1"))
    profile, guess = guessed(path)
    assert not [point for point in guess.open_points if "zone" not in point]
    assert (profile.file.delimiter, profile.position.column) == (",", "position_mm")
    shop.profile(guess.text, "guess")
    assert shop.take(path, profile="guess").added == 1


def test_an_untidy_layout_is_inferred_and_what_is_not_is_commented(shop):
    rows = "".join(f"{0.025 * i:.3f};{7 + 0.01 * i:.2f};0,30;{i}\n".replace(".", ",") for i in range(30))
    text = (
        "Seam No: 77\nProduction line: L2\nWelded: 03.04.2026 10:20\nProgram: R1\n\n"
        f"Pos [cm];Spec (%);Scat;t\ncm;%;%;-\n{rows}"
    )
    path = shop.write(text.encode("cp1252"), "x.txt")
    profile, guess = guessed(path)
    assert (profile.file.delimiter, profile.file.decimal) == (";", ",")
    assert (profile.file.header_lines, profile.file.rows_after_names) == (4, 1)
    assert profile.metadata.keys["seam_id"] == "Seam No"
    assert (profile.position.column, profile.position.unit) == ("Pos [cm]", "cm")
    assert profile.channels["specular"] == "Spec (%)"
    assert profile.time.format == "%d.%m.%Y %H:%M"
    assert any("zone" in point for point in guess.open_points)
    assert any("scatter" in point for point in guess.open_points)
    assert all(f"# CHECK: {point}" in guess.text for point in guess.open_points)


def test_the_guess_of_an_untidy_file_ingests_it(shop):
    rows = "".join(f"{0.25 * i:.2f}\t{0.07:.3f}\t{0.003:.4f}\n" for i in range(30))
    path = shop.write(
        f"; weld: W 1\n; time: 2026-04-03 10:20\n; line: L2\n; recipe: R1\nx mm\tA\tB\n{rows}", "w.txt"
    )
    profile, guess = guessed(path)
    assert profile.amplitude.unit == "fraction"
    assert any("told by level only" in point for point in guess.open_points)
    shop.profile(guess.text, "guess")
    assert shop.take(path, profile="guess").rows == ()
    assert shop.store.get("W 1").amplitudes_pct["specular"][0] == pytest.approx(7.0)


def test_without_a_seam_id_the_file_name_is_proposed(shop):
    path = shop.write(shop.text(seam_id=None, recipe=None), "S 12.csv")
    profile, guess = guessed(path)
    assert profile.file_name_regex.search("S 12.csv")["seam_id"] == "S 12"
    assert any(point.startswith("recipe: not found") for point in guess.open_points)


def test_a_parquet_file_with_a_damaged_name_is_refused(shop):
    path = shop.inbox / "damaged.parquet"
    pq.write_table(pa.table({"Seam": ["A"]}), path)
    path.write_bytes(path.read_bytes().replace(b"Seam", b"\x80eam"))
    with pytest.raises(BadInput, match="no Parquet file"):
        guess_profile(path)


@pytest.mark.parametrize(
    ("old", "new"),
    [(b"MB-0001", b"\x80B-0001"), (b"MB-0001", b"\xff\xff-0001"), (b"PAR1", b"PAR2")],
)
def test_damage_inside_a_parquet_file_is_told_in_one_line(shop, old, new):
    row = {"seam_id": ["MB-0001"], "start_mm": [0.0], "pitch_mm": [0.5], "specular": [[1.0, 2.0]]}
    whole = io.BytesIO()
    pq.write_table(pa.table(row), whole, compression="none", use_dictionary=False, write_statistics=False)
    path = shop.inbox / "damaged.parquet"
    path.write_bytes(whole.getvalue().replace(old, new))
    with pytest.raises(BadInput, match="no Parquet file") as caught:
        guess_profile(path)
    assert "\n" not in str(caught.value)


def test_a_parquet_file_is_inferred_too(shop):
    table = pa.table(
        {
            "Seam": ["A", "B"],
            "welded_at": ["2026-01-02T03:04:05Z"] * 2,
            "line": ["L"] * 2,
            "recipe": ["R1"] * 2,
            "pos_mm": [np.arange(30) * 0.25] * 2,
            "direct": [np.full(30, 7.0)] * 2,
            "oblique": [np.full(30, 0.5)] * 2,
        }
    )
    path = shop.inbox / "many.parquet"
    pq.write_table(table, path)
    profile, guess = guessed(path)
    assert profile.channels == {"specular": "direct", "scatter": "oblique"}
    shop.profile(guess.text, "guess")
    assert shop.take(path, profile="guess").added == 2


@pytest.mark.parametrize("content", ["", "only words here\nand here\n", b"\x00\x01\x02" * 100])
def test_a_file_without_a_trace_is_one_line(shop, content):
    with pytest.raises(BadInput) as caught:
        guess_profile(shop.write(content))
    assert "\n" not in str(caught.value)


def test_a_hostile_file_name_does_not_break_the_profile(shop):
    path = shop.write(shop.text(seam_id=None), 'a"b\\c\n[evil].csv')
    guessed(path)


def test_a_spreadsheet_that_quotes_every_field_is_guessed_and_ingests_with_the_guess(shop):
    header = '"Seam ID","E-1",""\n"Welded","2026-03-02 10:00",""\n"Line","L1",""\n"Recipe","R1",""\n'
    rows = "".join(f'"{0.25 * i:.2f}","7.5","0.5"\n' for i in range(40))
    path = shop.write(f'\ufeff{header}"Position (mm)","Specular","Scatter"\n{rows}')
    profile, guess = guessed(path)
    assert profile.metadata.keys["seam_id"] == "Seam ID"
    shop.profile(guess.text, "guess")
    assert shop.take(path, profile="guess").rows == ()
