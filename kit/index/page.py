"""The index as one HTML file: a plain table that searches and sorts where scripts run. Pure."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from kit import __version__
from kit.render.html import policy
from kit.safe_text import escape_html
from kit.units import MISSING

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from kit.index.entry import Entry

__all__ = ["GENERATOR", "index_page", "tally"]

PACKAGE = Path(__file__).resolve().parent
REPORT_STYLE = PACKAGE.parent / "render" / "html_template" / "report.css"
GENERATOR = "Rundown Kit index"
"""By this name in its head a page is known for an index, which a new one may replace."""
COLUMNS = (
    "Date",
    "Session",
    "Devices",
    "Longest runtime <small>(h:mm)</small>",
    "At a glance",
    "Cautions",
    "Revision",
    "Files",
)
"""Headings, as HTML."""
KINDS = (
    ("", "All sessions"),
    ("supported", "Lead supported"),
    ("tied", "Too close to call"),
    ("cautions", "With cautions"),
    ("changed", "Conclusion changed by a correction"),
    ("remark", "Record changed since the report"),
    ("missing", "Without a readable report"),
)
"""What can be shown alone: value in the address, label. ``index.js`` says which rows each has."""


def index_page(entries: Sequence[Entry], *, title: str) -> str:
    """Return the page.

    Parameters
    ----------
    entries
        Rows in the order in which they are to stand, newest first.
    title
        Heading of the page, plain text.
    """
    script = (PACKAGE / "index.js").read_text(encoding="utf-8")
    style = "".join(
        path.read_text(encoding="utf-8") for path in (REPORT_STYLE, PACKAGE / "index.css")
    )
    heading = escape_html(title)
    head = "".join(f'<th role="columnheader" scope="col">{name}</th>' for name in COLUMNS)
    kinds = "".join(f'<option value="{value}">{label}</option>' for value, label in KINDS)
    facts = "".join(
        f"<div><dt>{name}</dt><dd>{escape_html(text)}</dd></div>" for name, text in _facts(entries)
    )
    rows = "\n".join(_row(entry) for entry in entries)
    return f"""<!DOCTYPE html>
<html lang="en-GB">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="{policy(script)}">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark">
<meta name="referrer" content="no-referrer">
<meta name="generator" content="{GENERATOR} {__version__}">
<title>{heading} · Index of sessions</title>
<link rel="icon" href="data:,">
<style>
{style}</style>
</head>
<body class="index">
<a class="skip" href="#sessions">Skip to the sessions</a>
<header class="head">
<p class="kind">Index of sessions</p>
<h1>{heading}</h1>
<dl class="facts">{facts}</dl>
</header>
<div class="body">
<main id="sessions" tabindex="-1">
<div class="find" role="search" aria-label="Sessions" hidden>
<div class="words"><label for="search">Search</label>
<input id="search" type="search" autocomplete="off" spellcheck="false"></div>
<div><label for="device">Device</label>
<select id="device" autocomplete="off"><option value="">All devices</option></select></div>
<div><label for="show">Show</label>
<select id="show" autocomplete="off">{kinds}</select></div>
<div class="order"><label for="order">Sort by</label>
<select id="order" autocomplete="off"></select></div>
</div>
<p class="count" role="status">{_sessions(len(entries))}, newest first</p>
<p class="nothing" hidden>No session matches. <button type="button" class="clear">Show all
sessions</button></p>
<table class="sessions" role="table">
<caption class="heard">Sessions, newest first</caption>
<thead role="rowgroup"><tr role="row">{head}</tr></thead>
<tbody role="rowgroup">
{rows}
</tbody>
</table>
</main>
</div>
<footer class="foot">
<p>Made by Rundown Kit {__version__} from the results of the reports; nothing is computed anew. This
file asks the network for nothing; its links lead to the reports beside it.</p>
</footer>
<script>{script}</script>
</body>
</html>
"""


def tally(entries: Iterable[Entry]) -> dict[str, int]:
    """Return how many sessions are in each state; states that no session is in are left out.

    Examples
    --------
    >>> from kit.index.entry import Entry
    >>> tally([Entry(title="a"), Entry(title="b", state="no_report")])
    {'with a report': 1, 'without a report': 1}
    """
    names = {
        "report": "with a report",
        "no_report": "without a report",
        "unreadable": "not readable",
    }
    counts = dict.fromkeys(names.values(), 0)
    for entry in entries:
        counts[names[entry.state]] += 1
    return {name: n for name, n in counts.items() if n}


def _sessions(n: int) -> str:
    return f"{n:,} session" + ("" if n == 1 else "s")


def _facts(entries: Sequence[Entry]) -> list[tuple[str, str]]:
    """Return what is said of all sessions together."""
    dates = sorted(entry.date for entry in entries if entry.date)
    devices = {device for entry in entries for device in entry.devices}
    facts = [("Sessions", ", ".join(f"{n:,} {name}" for name, n in tally(entries).items()))]
    if dates:
        span = dates[0] if dates[0] == dates[-1] else f"{dates[0]} to {dates[-1]}"
        facts.append(("Dates", span))
    return [*facts, ("Devices", f"{len(devices):,}")]


def _row(entry: Entry) -> str:
    """Return one session as a row of the table."""
    data = f' data-state="{entry.state}"'
    data += f' data-lead="{entry.lead.verdict}"' if entry.lead.verdict else ""
    data += " data-changed" if entry.changed else ""
    data += " data-remark" if entry.remark else ""
    name = escape_html(entry.title) or "no title"
    page = dict(entry.links).get("HTML", "")
    title = f'<a href="{escape_html(page)}">{name}</a>' if page else f"<span>{name}</span>"
    cells = (
        _cell(f"<time>{escape_html(entry.date)}</time>" if entry.date else ""),
        f'<th role="rowheader" scope="row">{title}<small>{escape_html(entry.place)}</small></th>',
        _cell(_list(escape_html(device) for device in entry.devices)),
        _longest(entry),
        _cell(
            escape_html(entry.headline)
            + (f'<span class="remark">{escape_html(entry.remark)}</span>' if entry.remark else "")
        ),
        _counted(entry.cautions, ""),
        _counted(entry.revision, _correction(entry)),
        _cell(_list(_link(entry, *link) for link in entry.links), ' class="files"'),
    )
    return f'<tr role="row"{data}>{"".join(cells)}</tr>'


def _cell(content: str, attributes: str = "") -> str:
    return f'<td role="cell"{attributes}>{content or MISSING}</td>'


def _counted(number: int | None, more: str) -> str:
    if number is None:
        return _cell("")
    return _cell(f"{number}{more}", f' data-sort="{number}"')


def _list(items: Iterable[str]) -> str:
    inner = "".join(f"<li>{item}</li>" for item in items)
    return f'<ul role="list">{inner}</ul>' if inner else ""


def _link(entry: Entry, name: str, address: str) -> str:
    about = f"{name}, {escape_html(entry.title) or 'no title'}"
    return f'<a href="{escape_html(address)}" aria-label="{about}">{name}</a>'


def _longest(entry: Entry) -> str:
    if entry.longest is None:
        return _cell("")
    longest, lead = entry.longest, entry.lead
    words = (
        f'<span class="lead {lead.verdict}">{escape_html(lead.words)}</span>' if lead.words else ""
    )
    return _cell(
        f'<span class="who">{escape_html(longest.who)}</span> {escape_html(longest.words)}{words}',
        f' data-sort="{longest.hours:.4f}"',
    )


def _correction(entry: Entry) -> str:
    """Return what corrections did to the conclusion, as HTML."""
    if not entry.correction:
        return ""
    earlier = entry.changed and not entry.correction.startswith("conclusion changed")
    more = "; an earlier correction changed it" if earlier else ""
    return f"<small>{entry.correction}{more}</small>"
