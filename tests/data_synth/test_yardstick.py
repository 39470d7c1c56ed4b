import json
import re
import shutil
import subprocess
import sys
from dataclasses import replace
from math import isnan
from pathlib import Path

import numpy as np
import pytest

from seamtell.data_synth.flaws import Slot
from seamtell.data_synth.head import Head
from seamtell.data_synth.yardstick import CaseErrors, compare, model_scan, scan_shape
from seamtell.data_synth.yardstick_cases import CaseFolder, read_cases
from seamtell.data_synth.yardstick_table import PEAK_AIM_DB, WIDTH_AIM_PCT, compare_all, markdown
from seamtell.features.contracts import Channel, Side
from seamtell.features.errors import SeamtellError

ROOT = Path(__file__).parents[2]
FULL_WAVE = ROOT / "tests" / "data" / "fullwave"
FOLDER = read_cases(FULL_WAVE)
COMPARISON = compare_all(FOLDER, Head())
TABLE = markdown(COMPARISON)
SCRIPT = ROOT / "benchmarks" / "yardstick.py"


def test_every_case_is_compared_the_rough_joint_as_statistics() -> None:
    assert len(FOLDER.cases) == 16
    assert len(COMPARISON.plain) == 30
    assert {found.name for found in COMPARISON.rough} == {"rough_joint"}
    assert not COMPARISON.left_out


@pytest.mark.parametrize("error", COMPARISON.plain, ids=lambda e: f"{e.name}-{e.channel}")
def test_model_is_within_1_db_and_10_per_cent_of_the_full_wave_scan(error: CaseErrors) -> None:
    # Without any correction of the reference grid.
    if error.name == "sound" and error.channel is Channel.SCATTER:
        assert isnan(error.peak_error_db)  # the model's is exactly zero, the simulation's 0.08 %
        return
    assert abs(error.peak_error_db) <= PEAK_AIM_DB
    assert isnan(error.width_error_pct) or abs(error.width_error_pct) <= WIDTH_AIM_PCT


@pytest.mark.parametrize("error", COMPARISON.plain, ids=lambda e: f"{e.name}-{e.channel}")
def test_model_shows_as_many_humps_and_nearly_the_same_asymmetry(error: CaseErrors) -> None:
    if not error.flawed:
        return
    assert error.model.humps == error.simulated.humps
    if error.simulated.humps > 1:
        assert error.model.asymmetry_db == pytest.approx(error.simulated.asymmetry_db, abs=1.0)


def test_typical_channel_is_much_closer_than_the_aim() -> None:
    peaks = sorted(abs(e.peak_error_db) for e in COMPARISON.plain if not isnan(e.peak_error_db))
    assert peaks[len(peaks) // 2] < 0.4
    errors = sorted(e.complex_error_pct for e in COMPARISON.plain if not isnan(e.complex_error_pct))
    assert errors[len(errors) // 2] < 7
    assert errors[-1] < 15


def test_kept_table_says_what_the_model_does_now() -> None:
    kept = (ROOT / "data_synth" / "yardstick_table.md").read_text(encoding="utf-8")
    ours, shown = _figures(TABLE), _figures(kept)
    assert ours.keys() == shown.keys()
    for row, figures in ours.items():
        # the last digit may round otherwise on another machine; widths jump by whole samples
        assert shown[row] == pytest.approx(figures, abs=0.11, nan_ok=True), f"{row}: run {SCRIPT.name}"


def _figures(table: str) -> dict[tuple[str, str], list[float]]:
    rows = [
        [cell.strip() for cell in line.strip("|").split("|")]
        for line in table.splitlines()
        if line[:1] == "|"
    ]
    return {(r[0], r[1]): [float(cell or "nan") for cell in r[2:]] for r in rows[2:]}


def test_table_names_what_is_beyond_the_aim() -> None:
    first, *others = COMPARISON.plain
    loud = replace(first, model=replace(first.model, peak_pct=2 * first.simulated.peak_pct))
    text = markdown(replace(COMPARISON, plain=(loud, *others)))
    assert f"29 of 30 channels within 1 dB and 10 %; beyond: {first.name} {first.channel} (+6.02 dB" in text


def test_two_holes_scatter_into_each_other() -> None:
    # Simply added they read 1.1 dB high on scatter.
    error = next(e for e in COMPARISON.plain if e.name.startswith("two_pinholes") and e.channel == "scatter")
    assert abs(error.peak_error_db) < 0.3


def test_scatter_of_a_symmetric_lack_of_fusion_is_lopsided_as_in_the_simulation() -> None:
    error = next(e for e in COMPARISON.plain if e.name == "lof_L34_d60" and e.channel == "scatter")
    assert error.simulated.asymmetry_db > 3
    assert error.model.asymmetry_db > 3


def test_shape_of_two_gaussian_humps_is_read_off() -> None:
    x = np.linspace(-20, 20, 4001)
    scan = 1 + 4 * np.exp(-((x + 8) ** 2) / 2) + 8 * np.exp(-((x - 8) ** 2) / 2)
    shape = scan_shape(x, scan, 0.0)
    assert (shape.humps, round(shape.peak_pct, 2), round(shape.rise_pct, 2)) == (2, 9.0, 8.0)
    assert shape.asymmetry_db == pytest.approx(6.02, abs=0.01)
    # half of 8: the very top of the lower hump to the far flank of the higher
    assert shape.width_mm == pytest.approx(16 + np.sqrt(2 * np.log(2)), abs=0.05)


def test_model_against_itself_has_no_error() -> None:
    case = next(c for c in FOLDER.cases if c.name == "pinhole_D1.2")
    scan = model_scan(case, Head())
    twin = type(case)(
        case.name, case.joint, case.flaws, None, case.positions_mm, scan.amplitude_pct, scan.centre_pct
    )
    for error in compare(twin, scan):
        assert (error.peak_error_db, error.rise_error_db, error.width_error_pct) == (0, 0, 0)
        assert error.complex_error_pct < 1e-9


@pytest.fixture
def other_folder(tmp_path: Path) -> Path:
    """Another thickness pair, two holes in one case, one feature that the model does not know."""
    known = json.loads((FULL_WAVE / "cases.json").read_text(encoding="utf-8"))["cases"]
    pair, hole = (next(c for c in known if c["name"] == n) for n in ("pinhole_D1.2", "pinhole_D0.5"))
    pair["sheets"].update(A_mm=1.2, B_mm=1.0)
    pair["features"].append({"type": "hole", "x_mm": 8.0, "diameter_mm": 0.6})
    hole["features"].append({"type": "whisker", "x_mm": 1.0})
    (tmp_path / "scans").mkdir()
    for case in (pair, hole):
        shutil.copy(FULL_WAVE / "scans" / f"{case['name']}.csv", tmp_path / "scans")
    (tmp_path / "cases.json").write_text(json.dumps({"cases": [pair, hole]}), encoding="utf-8")
    return tmp_path


def test_command_runs_on_other_folders_and_names_what_it_leaves_out(other_folder: Path) -> None:
    out = other_folder / "out"
    done = subprocess.run(
        [sys.executable, str(SCRIPT), str(other_folder), "--out", str(out)], capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr
    assert "left out: pinhole_D0.5: unknown feature whisker" in done.stdout
    assert re.search(r"\| pinhole_D1\.2 \| scatter \| 20\.94", done.stdout)
    assert (out / "yardstick_table.md").read_text(encoding="utf-8") == done.stdout
    assert "<svg" in (out / "figures" / "yardstick.svg").read_text(encoding="utf-8")


def test_case_that_the_model_refuses_or_that_states_too_little_is_left_out_by_name() -> None:
    hole = next(c for c in FOLDER.cases if c.name == "pinhole_D0.5")
    endless = replace(hole, flaws=(Slot.even(0.0, 500.0, 0.5, 0.1, Side.TOP),))
    found = compare_all(CaseFolder((endless,), {"other": "'x_mm' is not stated"}), Head())
    assert not found.plain
    assert "slot of 500 mm" in found.left_out["pinhole_D0.5"]
    assert "left out: other: 'x_mm' is not stated." in markdown(found)


def test_missing_scan_is_named(other_folder: Path) -> None:
    (other_folder / "scans" / "pinhole_D1.2.csv").unlink()
    with pytest.raises(SeamtellError, match=r"pinhole_D1\.2\.csv: not a line scan"):
        read_cases(other_folder)


def test_folder_without_cases_is_refused(tmp_path: Path) -> None:
    with pytest.raises(SeamtellError, match=r"cases\.json: no list of cases"):
        read_cases(tmp_path)
