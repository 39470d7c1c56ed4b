"""Imports run one way: features <- models <- pipeline, with data_synth beside them."""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
FOLDERS = ("features", "models", "pipeline", "data_synth")
MAY_IMPORT = {
    "features": {"features"},
    "models": {"features", "models"},
    "pipeline": set(FOLDERS),
    "data_synth": {"data_synth", "features.contracts", "features.errors"},
}
SOURCES = [path for folder in FOLDERS for path in sorted((ROOT / folder).rglob("*.py"))]


def dotted_name(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def imported_names(path: Path, *, only_at_import: bool = False) -> set[str]:
    """Modules of ours that `path` imports, without the leading ``seamtell.``."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    nodes = tree.body if only_at_import else ast.walk(tree)
    found: set[str] = set()
    for node in nodes:
        if isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import; write the full name"
            base = node.module or ""
            found |= {f"{base}.{alias.name}" for alias in node.names} | {base}
        elif isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
    return {name.removeprefix("seamtell.") for name in found if name.startswith("seamtell.")}


@pytest.mark.parametrize("path", SOURCES, ids=dotted_name)
def test_a_module_imports_only_what_its_folder_may(path: Path) -> None:
    allowed = MAY_IMPORT[path.relative_to(ROOT).parts[0]]
    wrong = {
        name
        for name in imported_names(path)
        if not any(name == good or name.startswith(good + ".") for good in allowed)
        # `from seamtell.features import contracts` lists the package beside the module
        and not any(good.startswith(name + ".") for good in allowed)
    }
    assert not wrong, f"{dotted_name(path)} imports {sorted(wrong)}, its folder may import {sorted(allowed)}"


def test_the_check_sees_a_wrong_import(tmp_path: Path) -> None:
    planted = tmp_path / "planted.py"
    planted.write_text("from seamtell.pipeline.store.seam_store import SeamStore\n")
    assert "pipeline.store.seam_store" in imported_names(planted)


def test_no_two_modules_import_each_other() -> None:
    modules = {dotted_name(path): path for path in SOURCES}
    graph = {
        name: {other for other in imported_names(path, only_at_import=True) if other in modules} - {name}
        for name, path in modules.items()
    }
    done: set[str] = set()

    def visit(name: str, trail: tuple[str, ...]) -> None:
        assert name not in trail, "import cycle: " + " -> ".join((*trail[trail.index(name) :], name))
        if name in done:
            return
        for other in sorted(graph[name]):
            # A package's __init__ that names its own modules is no cycle.
            if not name.startswith(other + "."):
                visit(other, (*trail, name))
        done.add(name)

    for name in sorted(graph):
        visit(name, ())
