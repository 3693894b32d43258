"""Kinds of tampering with an HTML report, each with a pattern of what is to be said of it."""

from __future__ import annotations

import base64
import re
from typing import TYPE_CHECKING

from kit.revise.carried import MANIFEST_NAME
from tests.helpers.tampering_folder import with_json

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = ["PAGE_TAMPERING", "link"]


def _sub(pattern: str, text: str) -> Callable[[str], str]:
    return lambda page: re.sub(pattern, text, page, count=1, flags=re.DOTALL)


def link(name: str, change: Callable[[bytes], bytes]) -> Callable[[str], str]:
    """Return what changes a file that a page carries in a link."""

    def made(page: str) -> str:
        pattern = rf'(download="{re.escape(name)}" href="[^,]*,)([^"]*)'
        return re.sub(
            pattern,
            lambda m: m[1] + base64.b64encode(change(base64.b64decode(m[2]))).decode(),
            page,
        )

    return made


PAGE_TAMPERING: dict[str, tuple[Callable[[str], str], str]] = {
    "a number in a table": (
        _sub(r'(id="table-runtimes".*?</thead>.*?</td>\s*<td[^>]*>)[^<]*', r"\g<1>9:46"),
        r"mail\.html, table runtimes, row Limpet 10, column Runtime \(h:mm\): found '9:46'",
    ),
    "a row taken out": (
        _sub(r'(id="table-runtimes".*?<tbody>)\s*<tr.*?</tr>', r"\1"), r"table runtimes",
    ),
    "rows exchanged": (
        _sub(r'(id="table-runtimes".*?<tbody>)\s*(<tr.*?</tr>)\s*(<tr.*?</tr>)', r"\1\n\3\n\2"),
        r"table runtimes, row",
    ),
    "a caption": (_sub("Runtimes from start to power-off", "Runtimes"), r"table runtimes: found"),
    "the conclusion": (
        _sub(r'(<p class="lead">)[^<]*', r"\1Dunlin 9 lasted longest."),
        r"section At a glance: found 'Dunlin 9 lasted longest\.'",
    ),
    "the line on the correction": (
        _sub("The conclusion does not change", "The conclusion changes"), r"section At a glance",
    ),
    "a section taken out": (
        _sub(r'<section aria-labelledby="limits-of-this-comparison">.*?</section>', ""),
        r"section ",
    ),
    "a figure": (
        _sub(r'(<figure class="picture".*?<path[^>]* d="M)[^"]*', r"\1 0 0 L 5 5"),
        r"figure figure-(pairs|runtimes)",
    ),
    "the title of the session": (_sub(r"<h1>[^<]*", "<h1>Another day"), "found 'Another day'"),
    "the title of the window": (_sub("<title>", "<title>My "), r"the title of the window"),
    "the fingerprint shown": (
        _sub(r"<code>[0-9a-f]{12}</code>", "<code>000000000000</code>"), "found '0{12}'",
    ),
    "the script": (_sub("<script>", "<script>var x = 1;"), r"the page's script"),
    "the policy": (_sub("default-src 'none'", "default-src *"), r"the head of the page"),
    "the policy, escaped": (
        _sub("default-src &#39;none&#39;", "default-src *"), r"the head of the page",
    ),
    "the style": (_sub("<style>", "<style>tr:last-child{display:none}"), r"the page's style"),
    "a hidden text": (_sub("</main>", "<p hidden>x</p></main>"), r"found .*x"),
    "a comment": (_sub("</main>", "<!-- x --></main>"), r"found 'x'|x"),
    "a link to elsewhere": (
        _sub("</main>", '<a href="https://example.org/">x</a></main>'), "example",
    ),
    "the code shown": (_sub(r"glance", "glanse"), r"glanse"),
    "the log": (
        link("log.csv", lambda d: d.replace(b"09:30,80", b"09:30,70")),
        r"file log\.csv: found SHA-256",
    ),
    "the log, for a page": (
        _sub(r'(download="log\.csv" href=")data:text/csv', r"\1data:text/html"), r"text/html",
    ),
    "the log, not decodable": (
        _sub(r'(download="log\.csv" href="[^,]*,)', r"\1***"), r"file log\.csv: found a link that",
    ),
    "the setup file": (
        link("session.toml", lambda d: d.replace(b"Dunlin 9", b"Dunlin 8")),
        r"file session\.toml: found SHA-256",
    ),
    "the seed": (
        link(MANIFEST_NAME, lambda d: with_json(d, ("settings", "seed"), 1)),
        r"table parameters, row seed, column Value: found '20260516'; expected '1'",
    ),
    "the template": (
        link(MANIFEST_NAME, lambda d: with_json(d, ("template", "sha256"), "0" * 64)),
        r"template 'session_report\.ipynb'",
    ),
    "the version": (
        link(MANIFEST_NAME, lambda d: with_json(d, ("kit_version",), "9.9")),
        r"the foot of the page: found 'Made by Rundown Kit",
    ),
    "a version of a library": (
        link(MANIFEST_NAME, lambda d: with_json(d, ("versions", "numpy"), "9.9")),
        r"table versions, row numpy, column Version: found .*; expected '9\.9'",
    ),
}  # fmt: skip
