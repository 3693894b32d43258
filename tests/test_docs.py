"""What the pages and docstrings name is there: links, anchors, paths, modules, options."""

from __future__ import annotations

import importlib
import re
from functools import cache
from pathlib import Path

import click
import pytest

from kit.cli import cli
from tests.helpers.files import ROOT

PAGES = [*ROOT.glob("*.md"), *ROOT.glob("docs/*.md"), ROOT / "sample_sessions" / "README.md"]
SOURCES = [*ROOT.glob("kit/**/*.py"), *ROOT.glob("tests/**/*.py")]
LINK = re.compile(r"\]\(([^)#\s]*)(?:#([^)\s]*))?\)")
PATH = re.compile(r"(?<![\w/.-])((?:kit|tests|docs|report_templates)/[\w./-]*\w)")
NAME = re.compile(r"`(kit(?:\.[A-Za-z_]\w*)+)")


def name_of(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


@cache
def anchors(page: Path) -> set[str]:
    """Return the anchors of the headings of a page, as those who show Markdown make them."""
    headings = re.findall(r"^#+ (.*)$", page.read_text(encoding="utf-8"), re.MULTILINE)
    return {re.sub(r"[^\w -]", "", h.lower()).replace(" ", "-") for h in headings}


@pytest.mark.parametrize("page", PAGES, ids=name_of)
def test_links_lead_somewhere(page: Path) -> None:
    text = page.read_text(encoding="utf-8")
    for target, anchor in LINK.findall(text):
        if target.startswith(("http:", "https:")):
            continue
        there = page.parent / target if target else page
        assert there.exists(), target
        assert not anchor or anchor in anchors(there), f"{target}#{anchor}"


@pytest.mark.parametrize("page", [*PAGES, *SOURCES], ids=name_of)
def test_paths_that_are_named_are_there(page: Path) -> None:
    if page == Path(__file__):
        return
    for path in PATH.findall(page.read_text(encoding="utf-8")):
        assert (ROOT / path).exists(), path


def exists(dotted: str) -> bool:
    """Return whether a dotted name is a module, or leads from one to an attribute or field."""
    parts = dotted.split(".")
    for n in range(len(parts), 0, -1):
        try:
            found: object = importlib.import_module(".".join(parts[:n]))
        except ModuleNotFoundError:
            continue
        for part in parts[n:]:
            if part in getattr(found, "__annotations__", {}):
                return True
            if not hasattr(found, part):
                return False
            found = getattr(found, part)
        return True
    return False


@pytest.mark.parametrize("page", [*PAGES, *SOURCES], ids=name_of)
def test_modules_and_functions_that_are_named_are_there(page: Path) -> None:
    for dotted in NAME.findall(page.read_text(encoding="utf-8")):
        assert exists(dotted), dotted


@pytest.mark.parametrize("name", sorted(cli.commands))
def test_the_table_of_commands_or_the_page_it_names_has_every_option(name: str) -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    rows = [line for line in readme.splitlines() if line.startswith(f"| `rundown {name}")]
    assert len(rows) == 1, name
    pages = [ROOT / target for target, _ in LINK.findall(rows[0])]
    told = "\n".join([rows[0], *(page.read_text(encoding="utf-8") for page in pages)])
    for option in cli.commands[name].params:
        if isinstance(option, click.Option):
            assert option.help, option.name
            words = [re.escape(word) for word in option.opts]
            assert re.search(rf"(?<![\w-])({'|'.join(words)})(?![\w-])", told), option.opts
