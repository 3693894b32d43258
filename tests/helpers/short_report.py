"""A small record and a short report of it, for tests that make many."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from kit.places import templates_folder
from kit.render.report import TEMPLATE
from kit.results import Settings
from tests.helpers.records import SETUP

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["KEPT_CELLS", "LOG", "SETTINGS", "make_record", "short_template"]

LOG = """event,phase,point,device,clock,soc_pct,last_on,first_off,note
reading,map,start,limpet,08:00,100,,,
reading,map,start,dunlin,08:00,100,,,
reading,map,end,limpet,09:00,87,,,
reading,map,end,dunlin,09:00,85,,,
reading,photo,end,limpet,09:30,80,,,
reading,photo,end,dunlin,09:30,77,,,
power_off,photo,,limpet,,1,12:10,12:12,
power_off,photo,,dunlin,,1,11:20,11:22,
"""
SETTINGS = Settings(draws=10_000)
KEPT_CELLS = (
    "title", "parameters", "load", "at-a-glance", "glance", "runtimes-text", "runtimes",
    "limits-text", "limits", "revisions-text", "revisions", "reproduce-text", "reproduce", "data",
)  # fmt: skip
"""Cells of the kit's template that are kept: enough of every kind, in a third of the time."""


def make_record(folder: Path) -> Path:
    """Write the record into a folder and return it."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "log.csv").write_text(LOG, encoding="utf-8")
    (folder / "session.toml").write_text(SETUP, encoding="utf-8")
    return folder


def short_template(folder: Path) -> Path:
    """Write the shorter template into a folder, under the name of the kit's own."""
    notebook = json.loads((templates_folder() / TEMPLATE).read_text(encoding="utf-8"))
    notebook["cells"] = [c for c in notebook["cells"] if c["id"] in KEPT_CELLS]
    assert len(notebook["cells"]) == len(KEPT_CELLS)
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / TEMPLATE
    path.write_text(json.dumps(notebook), encoding="utf-8")
    return path
