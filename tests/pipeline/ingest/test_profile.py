from __future__ import annotations

import tomllib

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from seamtell.pipeline.errors import BadInput
from seamtell.pipeline.ingest.profile import Profile, parse_profile
from seamtell.pipeline.ingest.profile_choice import choose_profile
from seamtell.pipeline.init import DEFAULT_PROFILE_FILE, default_file

UNTIDY = r"""
[file]
encoding = "cp1252"
delimiter = ";"
decimal = ","
header_prefix = ""
header_lines = 4
header_pattern = '^(?P<key>[^;]+);(?P<value>.*)$'
skip_rows = 1
rows_after_names = 1
[metadata.keys]
welded_at = "Zeit"
line = "Straße"
heat = "Charge"
thickness_a_mm = "Dicke A"
[file_name]
pattern = '^(?P<recipe>R\d)_(?P<seam_id>.+)\.txt$'
[time]
format = "%d.%m.%Y %H:%M"
zone = "Europe/Dublin"
[constants]
shift = "night"
[position]
column = "Weg [cm]"
unit = "cm"
[amplitude]
unit = "decibel"
zero_db_pct = 50.0
[channels]
specular = "A"
scatter = "B"
[columns]
ignored = ["t"]
others = "reject"
"""


def untidy_file(n=30):
    rows = "".join(f"{i};{0.025 * i:.3f};{-18 + 0.01 * i:.2f};-40,0\r\n".replace(".", ",") for i in range(n))
    return (
        "Zeit;01.07.2026 14:30\r\nStraße;L 3\r\nCharge;H9\r\nDicke A;1,5\r\n\r\n"
        f"t;Weg [cm];A;B\r\ns;cm;dB;dB\r\n{rows}"
    ).encode("cp1252")


def test_an_untidy_layout_is_read_by_its_profile(shop):
    shop.profile(UNTIDY)
    report = shop.take(shop.write(untidy_file(), "R1_S 7.txt"), profile="shop")
    assert (report.added, report.rows) == (1, ())
    trace = shop.store.get("S 7")
    assert (trace.line, trace.recipe, trace.shift, trace.thickness_a_mm) == ("L 3", "R1", "night", 1.5)
    assert dict(trace.extra) == {"heat": "H9"}
    # 14:30 in Dublin in July is 13:30 UTC.
    assert trace.welded_at.isoformat() == "2026-07-01T13:30:00+00:00"
    assert (trace.start_mm, trace.pitch_mm, trace.n_samples) == (0.0, 0.25, 30)
    # -18 dB below a 0 dB level of 50 % is 50 % / 7.943 by the definition of the amplitude decibel.
    assert trace.amplitudes_pct["specular"][0] == pytest.approx(50 / 7.9433, rel=1e-4)
    assert trace.amplitudes_pct["scatter"][0] == pytest.approx(0.5, rel=1e-6)


@pytest.mark.parametrize(("unit", "mm"), [("mm", 1.0), ("cm", 10.0), ("m", 1000.0), ("in", 25.4)])
def test_each_position_unit_becomes_mm(shop, unit, mm):
    shop.profile(f'[position]\ncolumn = "position_mm"\nunit = "{unit}"\n')
    shop.take(shop.write(shop.text()), profile="shop")
    assert shop.store.get("S1").pitch_mm == pytest.approx(0.25 * mm)


def test_encoder_counts_become_mm(shop):
    shop.profile('[position]\ncolumn = "position_mm"\ncounts_per_mm = 40.0\n')
    rows = [f"{10 * i},7.0,0.5" for i in range(40)]
    shop.take(shop.write(shop.text(rows)), profile="shop")
    assert shop.store.get("S1").pitch_mm == 0.25


def test_a_sample_pitch_stands_in_for_positions(shop):
    shop.profile('[position]\ncolumn = ""\npitch_mm = 0.5\nstart_mm = 3.0\n')
    text = shop.text([row.split(",", 1)[1] for row in shop.rows()], names="specular,scatter")
    shop.take(shop.write(text), profile="shop")
    trace = shop.store.get("S1")
    assert (trace.start_mm, trace.pitch_mm, trace.end_mm) == (3.0, 0.5, 3.0 + 39 * 0.5)


def test_fractions_become_percent(shop):
    shop.profile('[amplitude]\nunit = "fraction"\n')
    shop.take(
        shop.write(shop.text(["0.1,0.07,0.002", *(f"{0.1 + 0.25 * i},0.07,0.002" for i in range(1, 20))])),
        profile="shop",
    )
    assert shop.store.get("S1").amplitudes_pct["specular"][0] == pytest.approx(7.0)


def test_columns_without_names_are_called_by_number(shop):
    shop.profile(
        '[file]\ncolumn_names = false\n[position]\ncolumn = "1"\n[channels]\nspecular = "2"\nscatter = "3"\n'
    )
    text = shop.header() + "\n".join(shop.rows()) + "\n"
    assert shop.take(shop.write(text), profile="shop").added == 1


@pytest.mark.parametrize("delimiter", ["\t", "|", " "])
def test_each_delimiter_works(shop, delimiter):
    shop.profile(f'[file]\ndelimiter = "{delimiter}"\n'.replace("\t", "\\t"))
    mark = delimiter * 3 if delimiter == " " else delimiter
    rows = [row.replace(",", mark) for row in shop.rows()]
    text = shop.text(rows, names=f"position_mm{mark}specular{mark}scatter")
    assert shop.take(shop.write(text), profile="shop").added == 1


def test_a_byte_order_mark_and_line_ends_of_other_systems_do_no_harm(shop):
    text = "\ufeff" + shop.text().replace("\n", "\r\n")
    assert shop.take(shop.write(text)).added == 1


def test_utf_16_is_read_when_the_profile_says_so(shop):
    shop.profile('[file]\nencoding = "utf-16"\n')
    assert shop.take(shop.write(shop.text().encode("utf-16")), profile="shop").added == 1


def test_a_column_that_the_profile_ignores_is_not_read(shop):
    shop.profile('[columns]\nignored = ["Temp [C]"]\nothers = "reject"\n')
    text = shop.text([row + ",x" for row in shop.rows()], names="position_mm,specular,scatter,Temp [C]")
    report = shop.take(shop.write(text), profile="shop")
    assert (report.added, report.notes) == (1, ())


def test_a_strict_profile_rejects_an_unnamed_column(shop):
    shop.profile('[columns]\nothers = "reject"\n')
    text = shop.text([row + ",1" for row in shop.rows()], names="position_mm,specular,scatter,more")
    assert shop.reject(text, profile="shop").reason == "extra_column"


def test_a_lenient_profile_notes_an_unnamed_column(shop):
    shop.profile('[columns]\nothers = "ignore"\n')
    text = shop.text([row + ",x" for row in shop.rows()], names="position_mm,specular,scatter,Op")
    report = shop.take(shop.write(text), profile="shop")
    assert [note.code for note in report.notes] == ["column_ignored"]


def test_a_file_name_that_does_not_match_is_rejected(shop):
    shop.profile(r"""[file_name]
pattern = '^(?P<seam_id>S\d+)\.csv$'
""")
    assert shop.reject(shop.text(seam_id=None), "x.csv", "shop").reason == "file_name_mismatch"


def test_a_fraction_profile_on_percent_data_is_rejected_with_the_unit_named(shop):
    shop.profile('[amplitude]\nunit = "fraction"\n')
    row = shop.reject(shop.text(), profile="shop")
    assert row.reason == "above_full_scale"
    assert "unit" in row.do


def test_a_field_with_a_decimal_comma_among_semicolons_is_named(shop):
    shop.profile('[file]\ndelimiter = ";"\n')
    rows = [row.replace(",", ";").replace(".", ",") for row in shop.rows()]
    row = shop.reject(shop.text(rows, names="position_mm;specular;scatter"), profile="shop")
    assert (row.reason, row.row) == ("decimal_comma", 6)


BAD_PROFILES = {
    '[file]\ndelimeter = ";"\n': "key 'file.delimeter'",
    '[file]\ndelimiter = ","\ndecimal = ","\n': "the same character",
    '[file]\nencoding = "klingon"\n': "no text encoding 'klingon'",
    '[file]\nencoding = "base64"\n': "is no text encoding",
    "[file]\nheader_pattern = '(?P<key>x)'\n": "needs the named groups",
    "[file_name]\npattern = '(unclosed'\n": "no regular expression",
    "[file_name]\npattern = 'nothing'\n": "at least one named group",
    '[time]\nzone = "Mars/Olympus"\n': "no time zone 'Mars/Olympus'",
    '[channels]\nspecular = "A"\n': "channel 'scatter' is not mapped",
    '[channels]\nspecular = "A"\nscatter = "A"\n': "two channels read the same column",
    '[position]\nunit = "furlong"\n': "key 'position.unit'",
    '[position]\ncolumn = ""\n': "needs column or pitch_mm",
    "[position]\ncounts_per_mm = -1\n": "key 'position.counts_per_mm'",
    "schema_version = 2\n": "key 'schema_version'",
    "not toml": "not readable as TOML",
}


@pytest.mark.parametrize("text", BAD_PROFILES)
def test_a_broken_profile_names_the_key(text):
    with pytest.raises(BadInput) as caught:
        parse_profile(text.encode(), "shop.toml")
    assert BAD_PROFILES[text] in str(caught.value)
    assert "\n" not in str(caught.value)


def test_the_default_profile_file_shows_the_defaults_of_the_code():
    document = tomllib.loads(default_file(DEFAULT_PROFILE_FILE).decode())
    shown = parse_profile(default_file(DEFAULT_PROFILE_FILE), "default")
    keys = document["metadata"]["keys"]
    assert keys == {name: name for name in keys}
    plain = shown.model_copy(update={"description": "", "metadata": Profile().metadata})
    assert plain == Profile()


def test_every_key_of_a_profile_stands_in_the_default_file():
    document = tomllib.loads(default_file(DEFAULT_PROFILE_FILE).decode())
    for table, field in Profile.model_fields.items():
        assert table in document, table
        model = field.annotation
        if hasattr(model, "model_fields"):
            absent = set(model.model_fields) - set(document[table])
            assert absent <= {"counts_per_mm", "pitch_mm"}, (table, absent)


def test_without_a_wish_the_only_profile_of_the_shop_is_taken(shop):
    assert choose_profile(shop.ws, None).name == "default"
    shop.profile("", "own")
    assert choose_profile(shop.ws, None).name == "own"


def test_several_profiles_need_a_choice(shop):
    shop.profile("", "one")
    shop.profile("", "two")
    with pytest.raises(BadInput, match="several input profiles: one, two"):
        choose_profile(shop.ws, None)


def test_a_profile_may_be_a_path(shop, tmp_path):
    path = tmp_path / "elsewhere.toml"
    path.write_text('description = "x"\n')
    assert choose_profile(shop.ws, str(path)).profile.description == "x"


def test_an_unknown_profile_lists_those_there_are(shop):
    with pytest.raises(BadInput, match="no input profile 'nix'; there are: default"):
        choose_profile(shop.ws, "nix")


def test_a_slow_pattern_sees_no_more_than_a_file_name(shop):
    from seamtell.pipeline.ingest.metadata import from_file_name

    profile = parse_profile(b"[file_name]\npattern = '^(?P<seam_id>x+)'\n", "p")
    assert len(from_file_name("x" * 5000, profile)["seam_id"]) == 255


def test_quick_and_careful_reading_give_the_same_numbers(shop):
    from seamtell.pipeline.ingest.csv_reader import read_csv_carefully, read_csv_quickly
    from seamtell.pipeline.ingest.csv_text import lay_out
    from seamtell.pipeline.ingest.raw_seam import plan_columns

    profile = Profile()
    layout = lay_out(shop.text(shop.rows(300)).encode(), profile)
    plan = plan_columns(list(layout.names), profile, position="position_mm")
    quick = read_csv_quickly(layout, plan, profile)
    careful, rows = read_csv_carefully(layout, plan, profile)
    assert quick is not None
    for name in plan.wanted:
        np.testing.assert_array_equal(quick[name], careful[name])
    assert rows[0] == layout.first_row


TEXT_ONLY = '[channels]\nspecular = "A0"\nscatter = "A1"\n[position]\ncolumn = "Enc"\ncounts_per_mm = 20.0\n'


def contract_parquet(shop):
    values = np.linspace(0.1, 0.9, 40)
    table = pa.table(
        {
            "seam_id": ["P1"],
            "welded_at": ["2026-03-02T10:00:00Z"],
            "line": ["L2"],
            "recipe": ["R1"],
            "start_mm": [0.0],
            "pitch_mm": [0.25],
            "specular": [values],
            "scatter": [0.1 * values],
        }
    )
    path = shop.inbox / "seams.parquet"
    pq.write_table(table, path)
    return path


def test_a_parquet_file_that_only_the_contract_layout_fits_is_read_in_it(shop):
    shop.profile(TEXT_ONLY)
    report = shop.take(contract_parquet(shop), profile=None)
    assert (report.added, report.profile, report.contract_files) == (1, "shop", 1)


def test_a_profile_that_the_user_names_reads_every_file(shop):
    shop.profile(TEXT_ONLY)
    report = shop.take(contract_parquet(shop), profile="shop")
    assert (report.rejected, report.contract_files) == (1, 0)


def test_the_shops_own_profile_reads_parquet_that_it_fits_since_its_units_may_differ(shop):
    shop.profile('[amplitude]\nunit = "fraction"\n')
    report = shop.take(contract_parquet(shop), profile=None)
    assert (report.added, report.contract_files) == (1, 0)
    assert shop.store.get("P1").amplitudes_pct["specular"][0] == pytest.approx(10.0)


def test_a_spreadsheet_that_quotes_every_field_of_a_header_line_is_read(shop):
    shop.profile(
        "[file]\nheader_prefix = ''\nheader_lines = 5\n"
        "header_pattern = '^(?P<key>[^,]+),(?P<value>.*)$'\n[metadata.keys]\nseam_id = 'Seam ID'\n"
    )
    header = '"Seam ID","E, 1",""\n"welded_at","2026-03-02 10:00",""\n"line","L1",""\n"recipe","R1",""\n'
    rows = "".join(f'"{0.25 * i:.2f}","7.5","0.5"\n' for i in range(40))
    path = shop.write(f'\ufeff{header}"Customer","A","B"\n"position_mm","specular","scatter"\n{rows}')
    assert shop.take(path, profile="shop").rows == ()
    assert shop.store.get("E, 1").line == "L1"


def test_a_section_table_among_the_traces_is_called_by_its_name(shop):
    row = shop.reject("section_id,seam_id,position_mm,flaw\nX1,S1,5,pinhole\n", "sections.csv")
    assert "a table of destructive sections" in row.message
    assert "seamtell sections add" in row.do


def test_every_piece_of_missing_metadata_is_named_at_once(shop):
    row = shop.reject(shop.text(line=None, recipe=None))
    assert (row.reason, row.message) == ("missing_metadata", "no line, recipe")


def test_a_seam_id_beyond_all_bounds_is_cut_where_it_is_listed(shop):
    assert len(shop.reject(shop.text(seam_id="x" * 900)).seam_id) == 200
