"""Executed notebooks made without a kernel, and the hostile strings, for the rendering tests."""

from __future__ import annotations

from typing import TYPE_CHECKING
from xml.sax.saxutils import escape

from kit.display import Block, Column, DataBundle, Picture, Prose, Table
from kit.render.notebook_run import without_slow_grammar
from kit.safe_text import displayable
from tests.helpers.files import FIXTURES, HOSTILE

with without_slow_grammar():
    from nbformat import v4

if TYPE_CHECKING:
    from nbformat import NotebookNode

NOTEBOOKS = FIXTURES / "notebooks"
SESSION = {
    "id": "fixture",
    "title": "Saltmarsh survey",
    "revision": 2,
    "fingerprint": "0123456789ab",
    "date": "2026-05-16",
}


def svg(text: str = "", inside: str = "") -> str:
    """Return a small drawing with one text."""
    escaped = escape(displayable(text))
    return (
        '<?xml version="1.0" encoding="utf-8"?>\n'
        '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
        'width="240pt" height="60pt" viewBox="0 0 240 60">'
        '<defs><clipPath id="frame"><rect width="240" height="60"/></clipPath></defs>'
        '<rect width="240" height="60" style="fill: #ffffff"/>'
        '<path id="line" d="M0 30 L240 40" clip-path="url(#frame)" '
        'style="fill: none; stroke: #1b6f73; stroke-width: 2"/>'
        f'<use xlink:href="#line" y="10"/>{inside}'
        f'<text x="4" y="14" style="font: 9px \'DejaVu Sans\'">{escaped}</text></svg>'
    )


def bundle(**changes: object) -> DataBundle:
    """Return results of the fixture session."""
    tables = {"runtimes": {"columns": ["device", "runtime_h"], "rows": [["limpet", 9.5]]}}
    return DataBundle({"session": {**SESSION, **changes}, "tables": tables})


def notebook(*cells: object) -> NotebookNode:
    """Return an executed notebook: a string is a text cell, anything else a code cell.

    A tuple shows several objects from one cell; a dict is a MIME bundle of another library.
    """
    made = []
    for number, cell in enumerate(cells, start=1):
        if isinstance(cell, str):
            made.append(v4.new_markdown_cell(cell, id=f"text-{number}"))
            continue
        shown = cell if isinstance(cell, tuple) else (cell,)
        outputs = [
            v4.new_output(
                "display_data",
                data=item if isinstance(item, dict) else item._repr_mimebundle_(),
            )
            for item in shown
        ]
        made.append(
            v4.new_code_cell(
                f"show(part_{number})", id=f"cell-{number}", execution_count=number, outputs=outputs
            )
        )
    return v4.new_notebook(cells=made)


def plain_notebook() -> NotebookNode:
    """Return a small report of every kind of part."""
    return notebook(
        "# Methods and results\n\nAn *opening* paragraph.",
        "## At a glance",
        Prose(
            blocks=(
                Block(kind="lead", text="Limpet 10 lasted longest."),
                Block(text="One paragraph."),
                Block(kind="bullet", text="first"),
                Block(kind="bullet", text="second"),
                Block(kind="caution", text="Stop at swelling."),
                Block(kind="heading", text="Below"),
            )
        ),
        "## Setup\n\nSome `code`, a [link](https://example.org/), and\n\n- one\n- two\n\n"
        "| Quantity | Value |\n|---|---:|\n| Start | 08:00 |",
        Table(
            id="drain",
            caption="Drain by phase.",
            columns=(
                Column(name="Phase"),
                Column(name="Device"),
                Column(name="Drain", unit="pp", align="right", numeric_sort=True),
            ),
            rows=(
                ("Video", "Limpet 10", "12.5 ± 1.1"),
                ("Video", "Dunlin 9", "−0.5"),
                ("Maps", "Limpet 10", "9.0"),
                ("Maps", "=1+1", "not recorded"),
            ),
            notes=("A note.",),
        ),
        "## State of charge",
        Picture(id="soc", svg=svg("Elapsed"), alt="Two lines fall.", caption="State of charge."),
        Picture(id="rate", svg=svg("Rate"), alt="Bars.", caption="Rates."),
        bundle(),
    )


def hostile_notebook() -> NotebookNode:
    """Return a report with every hostile string in every place that shows texts."""
    kinds = ("paragraph", "bullet", "lead", "caution", "heading")
    return notebook(
        "# Methods and results",
        "## Hostile",
        Table(
            id="hostile",
            caption=" ".join(HOSTILE[:6]),
            columns=(
                Column(name="Device"),
                Column(name=HOSTILE[0], unit=HOSTILE[8]),
                Column(name="Runtime", unit="h", align="right", numeric_sort=True),
            ),
            rows=tuple((text, text, f"{i}.5") for i, text in enumerate(HOSTILE)),
            notes=HOSTILE,
        ),
        tuple(Prose(blocks=tuple(Block(kind=k, text=t) for t in HOSTILE)) for k in kinds),
        tuple(
            Picture(id=f"hostile-{i}", svg=svg(text), alt=text, caption=text)
            for i, text in enumerate(HOSTILE)
        ),
        bundle(title=" ".join(HOSTILE[:9]), operator=HOSTILE[0]),
    )
