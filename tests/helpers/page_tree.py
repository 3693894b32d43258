"""An HTML page taken apart by the standard library's parser, for the tests."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from html.parser import HTMLParser

VOID = {"meta", "link", "br", "hr", "img", "input", "path", "use"}


@dataclass
class Element:
    """One element: its tag, attributes, children and texts in order."""

    tag: str
    attributes: dict[str, str] = field(default_factory=dict)
    children: list[Element | str] = field(default_factory=list)

    def walk(self) -> list[Element]:
        """Return this element and all below it, in order."""
        below = [found for c in self.children if isinstance(c, Element) for found in c.walk()]
        return [self, *below]

    def all(self, *tags: str) -> list[Element]:
        """Return all elements of these tags."""
        return [e for e in self.walk() if e.tag in tags]

    @property
    def text(self) -> str:
        """Return all text, white space folded."""
        whole = "".join(c if isinstance(c, str) else c.text for c in self.children)
        return " ".join(whole.split())

    @property
    def raw(self) -> str:
        """Return the text as it is."""
        return "".join(c if isinstance(c, str) else c.raw for c in self.children)

    @property
    def classes(self) -> list[str]:
        """Return the classes."""
        return self.attributes.get("class", "").split()


class _Builder(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.root = Element("#document")
        self.open = [self.root]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        element = Element(tag, {name: value or "" for name, value in attrs})
        self.open[-1].children.append(element)
        if tag not in VOID:
            self.open.append(element)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        element = Element(tag, {name: value or "" for name, value in attrs})
        self.open[-1].children.append(element)

    def handle_endtag(self, tag: str) -> None:
        if tag in VOID:
            return
        assert self.open[-1].tag == tag, f"</{tag}> closes <{self.open[-1].tag}>"
        self.open.pop()

    def handle_data(self, data: str) -> None:
        self.open[-1].children.append(data)


def parsed(page: str) -> Element:
    """Return the page as a tree; fails if a tag is not closed where it should be."""
    builder = _Builder()
    builder.feed(page)
    builder.close()
    assert len(builder.open) == 1, builder.open[-1].tag
    return builder.root


def variables(style: str, block: str) -> dict[str, str]:
    """Return the CSS variables with a hexadecimal colour in a block of a style sheet."""
    return dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6})", block if block else style))
