"""The map in DEVELOPERS.md is complete, and a module imports only from its own layer or above."""

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.helpers.files import ROOT

KIT = ROOT / "kit"
LATER = {
    "commands.py": "cli",
    "verify.py": "render",
    "verify_anew.py": "render",
    "verify_folder.py": "render",
    "verify_taken.py": "render",
}
"""Files of a package that stand in a later layer: its commands, and what makes a report again."""


def layers() -> list[tuple[str, list[str]]]:
    """Return (layer, names) in the order of the map; a name is a module or a folder."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    section = text.split("## The flow, and the map")[1].split("\n## ")[0]
    rows = re.findall(r"^\| \*\*(.+?)\*\* \| (.+?) \| (.+?) \|$", section, re.MULTILINE)
    return [(name, re.findall(r"`([a-z_]+)/?`", modules)) for name, modules, _ in rows]


def top_names() -> set[str]:
    files = {p.stem for p in KIT.glob("*.py")} - {"__init__", "__main__"}
    return files | {p.parent.name for p in KIT.glob("*/__init__.py")}


def imports_of(path: Path) -> set[str]:
    """Return the modules of the kit that a file imports at run time, wherever it does."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for node in ast.walk(tree):
        if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING":
            node.body = []
    found = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found |= {a.name for a in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module == "kit":
            found |= {f"kit.{a.name}" for a in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found.add(node.module)
    return {name.split(".")[1] for name in found if name.startswith("kit.")}


def test_the_map_names_every_module_once():
    named = [name for _, names in layers() for name in names]
    assert sorted(named) == sorted(set(named))
    assert set(named) == top_names()


IMPORTED_FIRST = """
import importlib, sys
for name in sys.argv[1:]:
    for known in [m for m in sys.modules if m == "kit" or m.startswith("kit.")]:
        del sys.modules[known]
    try:
        importlib.import_module(name)
    except ModuleNotFoundError:
        pass  # of an extra that is not installed
    except ImportError as error:
        print(name, error)
"""


@pytest.mark.slow
def test_every_module_can_be_the_first_to_be_imported():
    names = [
        ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
        for path in sorted(KIT.rglob("*.py"))
        if path.name != "__main__.py"
    ]
    told = subprocess.run(  # our own interpreter and code
        [sys.executable, "-c", IMPORTED_FIRST, *names],
        cwd=ROOT, capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert told.stdout == ""


@pytest.mark.parametrize("name", ["claims", "drain"])
def test_a_large_folder_names_every_module_once(name):
    text = ast.get_docstring(ast.parse((KIT / name / "__init__.py").read_text(encoding="utf-8")))
    named = re.findall(r"^\* (.+?)(?=^\* |\Z)", text, re.MULTILINE | re.DOTALL)
    files = {p.stem for p in (KIT / name).glob("*.py")} - {"__init__"}
    assert sorted(re.findall(r"``(\w+)``", " ".join(named))) == sorted(files)


@pytest.mark.parametrize("name", sorted(top_names()))
def test_a_module_imports_only_from_its_layer_or_above(name):
    level = {module: i for i, (_, names) in enumerate(layers()) for module in names}
    files = [KIT / f"{name}.py"] if (KIT / f"{name}.py").exists() else (KIT / name).rglob("*.py")
    for path in files:
        own = level[LATER.get(path.name, name)]
        below = {m for m in imports_of(path) & set(level) if level[m] > own}
        assert not below, f"{path.name} imports from below: {sorted(below)}"
