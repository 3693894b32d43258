"""Kinds of tampering with a report's folder, each with a pattern of what is to be said of it."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kit.revise.carried import MANIFEST_NAME

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = ["FOLDER_TAMPERING", "edit_json", "with_json"]


def with_json(data: bytes, path: tuple[Any, ...], to: Any) -> bytes:
    """Return a JSON file with one value changed."""
    made = json.loads(data)
    place = made
    for key in path[:-1]:
        place = place[key]
    assert place[path[-1]] != to
    place[path[-1]] = to
    return json.dumps(made, ensure_ascii=False, indent=1).encode()


def edit(name: str, old: str, new: str) -> Callable[[Path], None]:
    def change(folder: Path) -> None:
        text = (folder / name).read_text(encoding="utf-8")
        assert old in text
        (folder / name).write_text(text.replace(old, new), encoding="utf-8")

    return change


def edit_json(name: str, *path: Any, to: Any) -> Callable[[Path], None]:
    """Return what changes one value in a JSON file of a folder."""

    def change(folder: Path) -> None:
        (folder / name).write_bytes(with_json((folder / name).read_bytes(), path, to))

    return change


def _third(folder: Path) -> None:
    shutil.copytree(folder / "revisions" / "002", folder / "revisions" / "003")
    edit_json("revisions/003/revision.json", "number", to=3)(folder)


FOLDER_TAMPERING: dict[str, tuple[Callable[[Path], Any], str]] = {
    "a figure in results.json": (
        edit_json("results.json", "tables", "runtimes", "rows", 0, 3, to=9.99),
        r"^results\.json, tables, runtimes, row 1 \(1, limpet\), column runtime_h: found '9\.99'",
    ),
    "a number in a CSV table": (
        edit("tables/runtimes.csv", "observed", "still_on"), r"^tables/runtimes\.csv, line 2",
    ),
    "a table taken out": (
        lambda f: (f / "tables" / "energy.csv").unlink(), r"^tables/energy\.csv: found no such",
    ),
    "an output in the notebook": (
        edit("report.ipynb", "The conclusion does not change", "The conclusion changes"),
        r"^report\.ipynb, cells, cell glance",
    ),
    "the code in the notebook": (
        edit("report.ipynb", "report.glance(results)", "report.limits(results)"),
        r"^report\.ipynb, cells, cell glance, source",
    ),
    "an earlier input": (
        edit("revisions/001/inputs/log.csv", "09:00,87", "09:00,86"),
        r"^revisions/001/inputs/log\.csv: found another content",
    ),
    "an earlier revision taken out": (
        lambda f: shutil.rmtree(f / "revisions" / "001"), r"^revisions/001: found no such revision",
    ),
    "a revision put in": (
        lambda f: _third(f), r"^revisions/003: found a revision",
    ),
    "the results of a revision": (
        edit_json("revisions/002/results.json", "glance", 0, to="x"),
        r"^revisions/002/results\.json, glance, entry 1",
    ),
    "what a revision says": (
        edit_json("revisions/001/revision.json", "summary", "conclusion", to="changed"),
        r"^revisions/001/revision\.json, summary, conclusion",
    ),
    "the notice": (
        edit("correction-notice.txt", "was noted as 87", "was noted as 78"),
        r"^correction-notice\.txt, line 1",
    ),
    "the list of files": (
        edit_json(MANIFEST_NAME, "settings", "draws", to=20_000),
        r"^manifest\.json, settings, draws",
    ),
    "a page from elsewhere": (
        lambda f: shutil.copyfile(f / "revisions" / "001" / "report.html", f / "report.html"),
        r"^manifest\.json in report\.html, session, revision: found '1'; expected '2'",
    ),
}  # fmt: skip
