"""What is installed: every sub-package and data file, under one name each, and nothing generic."""

import re
import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
FOLDERS = ("features", "models", "pipeline", "data_synth")
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
HEAVY = (
    "mlflow",
    "lightgbm",
    "numba",
    "matplotlib",
    "sklearn",
    "scipy",
    "pandas",
    "pyarrow",
    "statsmodels",
    "numpy",
)


def sub_packages() -> set[str]:
    inits = [path for folder in FOLDERS for path in (ROOT / folder).rglob("__init__.py")]
    return {"seamtell." + ".".join(path.parent.relative_to(ROOT).parts) for path in inits}


def data_files() -> set[str]:
    kept = {".toml", ".j2", ".css", ".typed"}
    paths = [path for folder in FOLDERS for path in (ROOT / folder).rglob("*") if path.suffix in kept]
    return {"seamtell/" + path.relative_to(ROOT).as_posix() for path in paths}


@pytest.fixture(scope="module")
def wheel_names(tmp_path_factory: pytest.TempPathFactory) -> set[str]:
    out = tmp_path_factory.mktemp("wheel")
    copy = out / "source"
    copy.mkdir()
    for name in (*FOLDERS, "pyproject.toml", "README.md", "LICENSE"):
        (copy / name).symlink_to(ROOT / name)
    subprocess.run(
        [sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", str(out), str(copy)],
        check=True,
        capture_output=True,
        text=True,
    )
    with zipfile.ZipFile(next(out.glob("*.whl"))) as wheel:
        return set(wheel.namelist())


def test_pyproject_lists_every_sub_package() -> None:
    assert set(PROJECT["tool"]["setuptools"]["packages"]) == sub_packages()


def test_the_wheel_holds_every_module(wheel_names: set[str]) -> None:
    modules = {
        "seamtell/" + path.relative_to(ROOT).as_posix()
        for folder in FOLDERS
        for path in (ROOT / folder).rglob("*.py")
    }
    assert modules <= wheel_names


def test_the_wheel_holds_every_data_file(wheel_names: set[str]) -> None:
    assert data_files() <= wheel_names


def test_the_wheel_installs_no_generic_top_level_name(wheel_names: set[str]) -> None:
    assert {name.split("/")[0].partition("-")[0] for name in wheel_names} == {"seamtell"}


def test_a_bare_features_import_fails_outside_the_checkout(tmp_path: Path) -> None:
    run = subprocess.run(
        [sys.executable, "-c", "import features"], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert "ModuleNotFoundError" in run.stderr


def test_no_module_of_ours_is_loaded_under_two_names(tmp_path: Path) -> None:
    code = (
        "import sys, seamtell.pipeline.cli, seamtell.models, seamtell.data_synth\n"
        "files = [m.__file__ for m in list(sys.modules.values()) if getattr(m, '__file__', None)]\n"
        f"ours = [f for f in files if f.startswith({str(ROOT)!r}) and '.venv' not in f]\n"
        "assert ours and len(ours) == len(set(ours)), sorted(ours)\n"
        f"assert not set(sys.modules) & {set(FOLDERS)!r}\n"
    )
    subprocess.run([sys.executable, "-c", code], cwd=tmp_path, check=True)


def test_help_loads_nothing_heavy(tmp_path: Path) -> None:
    code = (
        "import sys\n"
        "from typer.testing import CliRunner\n"
        "from seamtell.pipeline.cli import app\n"
        "assert CliRunner().invoke(app, ['--help']).exit_code == 0\n"
        f"loaded = set({HEAVY!r}) & set(sys.modules)\n"
        "assert not loaded, loaded\n"
    )
    subprocess.run([sys.executable, "-c", code], cwd=tmp_path, check=True)


def test_the_lock_pins_every_dependency() -> None:
    wanted = [*PROJECT["project"]["dependencies"], *PROJECT["project"]["optional-dependencies"]["dev"]]
    names = {re.split(r"[\[<>=]", item)[0].strip().lower() for item in wanted}
    lines = (ROOT / "requirements.lock").read_text(encoding="utf-8").splitlines()
    pinned = {line.split("==")[0].lower() for line in lines if "==" in line and not line.startswith(" ")}
    assert names <= pinned
