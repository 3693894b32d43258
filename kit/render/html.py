"""The HTML report: one file that asks the network for nothing.

nbconvert carries an own template (``html_template/``): it sets a `kit.render.document.Document`
instead of going cell by cell. Three walls stand between a text of the record and a browser: the
template escapes everything by default, HTML that other libraries put out is sanitized, and a
content security policy allows no script but the page's own and no request at all.
"""

from __future__ import annotations

import base64
import hashlib
import math
import re
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kit import __version__
from kit.render.notebook_run import without_slow_grammar
from kit.render.svg import colour_sheet, page_svg
from kit.revise.carried import RESULTS_NAME

if TYPE_CHECKING:
    from collections.abc import Sequence

    from nbconvert.exporters.templateexporter import TemplateExporter
    from nbformat import NotebookNode

    from kit.render.document import Document
    from kit.revise.carried import Carried

__all__ = ["html_page", "prepare"]

PACKAGE = Path(__file__).resolve().parent
TEMPLATE = "html_template"
# what HTML output of other libraries (a data frame shown in an added cell) may hold
ALLOWED_TAGS = [
    "a", "b", "br", "caption", "code", "dd", "div", "dl", "dt", "em", "h3", "h4", "h5", "h6", "hr",
    "i", "li", "ol", "p", "pre", "s", "small", "span", "strong", "sub", "sup", "table", "tbody",
    "td", "tfoot", "th", "thead", "tr", "u", "ul",
]  # fmt: skip
ALLOWED_ATTRIBUTES = {
    "a": ["href"],
    "td": ["colspan", "rowspan"],
    "th": ["colspan", "rowspan", "scope"],
}
LARGEST_INSIDE = 4_000_000
"""Bytes of data up to which the page holds them; the PDF always does. Chosen, no source."""
_NO_TEXT = re.compile(r"<(script|style)\b.*?(</\1\s*>|$)", re.IGNORECASE | re.DOTALL)


@cache
def prepare() -> TemplateExporter:
    """Return the exporter, loaded and with its template compiled; made once a process."""
    with without_slow_grammar():
        from nbconvert.exporters.templateexporter import TemplateExporter
        from nbconvert.filters.highlight import Highlight2HTML

    class ReportExporter(TemplateExporter):  # type: ignore[misc]  # nbconvert is not followed
        """nbconvert's exporter with escaping on and no clean-up pass over the finished page."""

        output_mimetype = "text/html"

        def _file_extension_default(self) -> str:
            return ".html"

        def _create_environment(self) -> Any:
            environment = super()._create_environment()
            environment.autoescape = True
            return environment

    exporter = ReportExporter(template_name=TEMPLATE, extra_template_basedirs=[str(PACKAGE)])
    exporter.register_filter("highlight_code", Highlight2HTML(pygments_lexer="python"))
    exporter.template  # noqa: B018 - compiles it
    return exporter


def html_page(
    notebook: NotebookNode, document: Document, *, carried: Sequence[Carried] = ()
) -> str:
    """Return the report as one HTML file.

    Parameters
    ----------
    notebook
        The executed, cleaned notebook.
    document
        `kit.render.document.document_of` of it.
    carried
        Files that the page holds inside, as links; all but ``results.json``.

    Raises
    ------
    RenderError
        If a figure is no well-formed SVG.
    """
    folder = PACKAGE / TEMPLATE
    script = folder.joinpath("report.js").read_text(encoding="utf-8")
    colours: set[str] = set()
    sections = [
        {
            "id": section.id,
            "title": section.title,
            "items": [_item(item, colours) for item in section.items],
        }
        for section in document.sections
    ]
    resources = {
        "document": {
            "kind": document.kind,
            "title": document.title,
            "session": document.session,
            "sections": sections,
        },
        "policy": policy(script),
        "script": script,
        "style": folder.joinpath("report.css").read_text(encoding="utf-8"),
        "colours": colour_sheet(colours),
        "version": __version__,
        "carried": _links(carried),
    }
    # nbconvert copies what it is given several times over; the template needs none of the outputs
    bare = type(notebook)(notebook, cells=[])
    page, _ = prepare().from_notebook_node(bare, resources=resources)
    return str(page).rstrip("\n") + "\n"


def _links(carried: Sequence[Carried]) -> list[dict[str, str]]:
    """Return the files inside the page as links that hold them; too large a set is left out."""
    held = [file for file in carried if file.name != RESULTS_NAME]
    if sum(len(file.data) for file in held) > LARGEST_INSIDE:
        return []
    return [
        {
            "name": file.name,
            "description": file.description,
            "size": f"{math.ceil(len(file.data) / 1000)} kB",
            "href": f"data:{file.mime};base64,{base64.b64encode(file.data).decode()}",
        }
        for file in held
    ]


def policy(script: str) -> str:
    """Return the content security policy of a page with this one script.

    Styles are inline because figures carry them in attributes; nothing they could ask for is
    allowed. Images come from the file itself.
    """
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    return (
        "default-src 'none'; style-src 'unsafe-inline'; img-src data:; "
        f"script-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'"
    )


def _item(item: dict[str, Any], colours: set[str]) -> dict[str, Any]:
    """Return an item with what only the page needs; note the colours of figures."""
    if item["type"] == "picture":
        page = page_svg(
            item["svg"],
            anchor=item["anchor"],
            title=f"Figure {item['number']}. {item['caption']}",
            description=item["alt"],
        )
        colours.update(page.colours)
        return {**item, "page": page}
    if item["type"] == "table":
        first = [row[0] for row in item["rows"]]
        grouped = any(a == b for a, b in pairwise(first))
        return {**item, "grouped": grouped}
    if item["type"] == "html":
        return {**item, "html": sanitized(item["html"])}
    return item


def sanitized(markup: str) -> str:
    """Return HTML of another library with nothing but text structure left in it.

    Examples
    --------
    >>> sanitized('<p onclick="x()">a<script>b</script></p>')
    '<p>a</p>'
    """
    with without_slow_grammar():
        from nbconvert.preprocessors.sanitize import SanitizeHTML

    cleaner = SanitizeHTML(tags=ALLOWED_TAGS, attributes=ALLOWED_ATTRIBUTES, strip=True)
    # a tag that is stripped leaves its text; that of these two is none
    return str(cleaner.sanitize_html_tags(_NO_TEXT.sub("", markup)))
