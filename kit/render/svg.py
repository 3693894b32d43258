"""An SVG figure made fit for an HTML page: harmless, unique ids, colours that follow the theme.

Only drawing elements and attributes pass; scripts, handlers, foreign content and outside
references do not. Each colour becomes a CSS variable, so that the page can give it another value
on a dark ground (`dark_colour`).
"""

from __future__ import annotations

import colorsys
import re
import xml.etree.ElementTree as ET
from dataclasses import dataclass
from typing import TYPE_CHECKING

from kit.errors import RenderError

if TYPE_CHECKING:
    from collections.abc import Iterable

__all__ = ["DARK_GROUND", "DARK_INK", "PageSvg", "colour_sheet", "dark_colour", "page_svg"]

DARK_GROUND = "#0f191c"
DARK_INK = "#e4ecec"
# WCAG 2.2, success criterion 1.4.11: 3:1 for the parts of a graphic
DARK_CONTRAST = 3.0
# at most this far from black or white, a grey is the page's ink or its ground
NEAR = 0.12

SVG = "{http://www.w3.org/2000/svg}"
DRAWING = frozenset({
    "svg", "g", "defs", "path", "rect", "circle", "ellipse", "line", "polyline", "polygon",
    "text", "tspan", "use", "symbol", "clipPath", "marker", "pattern", "mask", "linearGradient",
    "radialGradient", "stop", "image", "title", "desc",
})  # fmt: skip
PAINTS = frozenset({"fill", "stroke", "stop-color", "color"})
NAMED = {"black": "#000000", "white": "#ffffff"}
_HEX = re.compile(r"#(?:[0-9a-fA-F]{3}){1,2}")
_OUTSIDE = re.compile(r"url\((?!['\"]?#)|@import|expression|javascript:", re.IGNORECASE)
_LOCAL_URL = re.compile(r"url\(['\"]?#([^)'\"]+)['\"]?\)")
_DATA_IMAGE = re.compile(r"data:image/(png|jpeg);base64,[A-Za-z0-9+/=\s]*")
_LENGTH = re.compile(r"\d+(\.\d+)?(pt|px)?")
_ENTITY = re.compile(r"<!ENTITY", re.IGNORECASE)


@dataclass(frozen=True, kw_only=True)
class PageSvg:
    """A figure as it stands in the page.

    Parameters
    ----------
    markup
        The ``<svg>`` element.
    colours
        The colours it uses, ``#rrggbb`` in lower case, sorted.
    """

    markup: str
    colours: tuple[str, ...]


def page_svg(svg: str, *, anchor: str, title: str, description: str) -> PageSvg:
    """Return a figure fit for the page.

    Parameters
    ----------
    svg
        A whole SVG document.
    anchor
        Id of the figure; every id inside gets it as a prefix.
    title, description
        Accessible name and text.

    Raises
    ------
    RenderError
        If the text is no well-formed SVG document.
    """
    if _ENTITY.search(svg):
        message = f"Figure {anchor!r} declares XML entities; a figure may not."
        raise RenderError(message)
    try:
        root = ET.fromstring(svg)
    except ET.ParseError as error:
        message = f"Figure {anchor!r} is no well-formed SVG ({error})."
        raise RenderError(message) from error
    if root.tag != f"{SVG}svg":
        message = f"Figure {anchor!r} is no SVG: its root is {root.tag!r}."
        raise RenderError(message)
    colours: set[str] = set()
    _prune(root)
    for element in root.iter():
        _make_local(element, anchor)
        _paint(element, colours)
        element.tag = element.tag.removeprefix(SVG)
    width = root.attrib.pop("width", "")
    root.attrib.pop("height", None)
    _name(root, anchor, title, description)
    # matplotlib sets the joins for every element by a style sheet, which would reach the page
    style = "stroke-linejoin:round;stroke-linecap:butt;fill:var(--ink)"
    if _LENGTH.fullmatch(width):  # a figure is not blown up: its text has the size of the page's
        own = width if width[-1].isalpha() else width + "px"
        style += f";max-width:{own};--own:{own}"
    root.set("style", style)
    root.tail = None
    return PageSvg(markup=ET.tostring(root, encoding="unicode"), colours=tuple(sorted(colours)))


def _prune(element: ET.Element) -> None:
    """Take out every element that is not for drawing."""
    for child in list(element):
        if child.tag.removeprefix(SVG) in DRAWING:
            _prune(child)
        else:
            element.remove(child)


def _make_local(element: ET.Element, anchor: str) -> None:
    """Take out handlers and outside references; give ids and references the figure's prefix."""
    for name, value in list(element.attrib.items()):
        plain = name.rpartition("}")[2].lower()
        if plain == "href":
            del element.attrib[name]
            if value.startswith("#"):
                element.set("href", f"#{anchor}-{value[1:]}")
            elif element.tag == f"{SVG}image" and _DATA_IMAGE.fullmatch(value):
                element.set("href", value)
        elif plain.startswith("on") or name.startswith("{") or _OUTSIDE.search(value):
            del element.attrib[name]
        elif plain == "id":
            element.set(name, f"{anchor}-{value}")
        elif "url(" in value:
            element.set(name, _LOCAL_URL.sub(rf"url(#{anchor}-\1)", value))


def _paint(element: ET.Element, colours: set[str]) -> None:
    """Turn each colour into a variable of the page, noting which there are."""
    declarations = [
        (name.strip(), value.strip())
        for name, _, value in (d.partition(":") for d in element.get("style", "").split(";"))
        if value
    ]
    declarations += [
        (name, element.attrib.pop(name)) for name in sorted(PAINTS & set(element.keys()))
    ]
    if not declarations:
        return
    painted = []
    for name, value in declarations:
        colour = NAMED.get(value.lower(), value) if name in PAINTS else ""
        if _HEX.fullmatch(colour):
            full = (
                colour.lower()
                if len(colour) == 7
                else "#" + "".join(c * 2 for c in colour[1:].lower())
            )
            colours.add(full)
            painted.append(f"{name}:var({variable(full)})")
        else:
            painted.append(f"{name}:{value}")
    element.set("style", ";".join(painted))


def _name(root: ET.Element, anchor: str, title: str, description: str) -> None:
    """Give the figure its accessible name and description."""
    for child in list(root):
        if child.tag in ("title", "desc"):
            root.remove(child)
    for place, (tag, text) in enumerate((("title", title), ("desc", description))):
        element = ET.Element(tag, {"id": f"{anchor}-{tag}"})
        element.text = text
        root.insert(place, element)
    root.set("role", "img")
    root.set("aria-labelledby", f"{anchor}-title")
    root.set("aria-describedby", f"{anchor}-desc")


def variable(colour: str) -> str:
    """Return the name of a colour's CSS variable."""
    return f"--c{colour[1:]}"


def colour_sheet(colours: Iterable[str]) -> str:
    """Return the style rules that give each colour its value on a light and on a dark ground.

    Examples
    --------
    >>> print(colour_sheet(["#000000"]))
    :root{--c000000:var(--ink)}
    @media screen and (prefers-color-scheme: dark){:root{--c000000:var(--ink)}}
    """
    ordered = sorted(set(colours))
    light = ";".join(f"{variable(c)}:{_light_colour(c)}" for c in ordered)
    dark = ";".join(f"{variable(c)}:{dark_colour(c)}" for c in ordered)
    return f":root{{{light}}}\n@media screen and (prefers-color-scheme: dark){{:root{{{dark}}}}}"


def _light_colour(colour: str) -> str:
    """Return the colour on a light ground: ink and ground are the page's own."""
    return _page_colour(colour) or colour


def _page_colour(colour: str) -> str:
    """Return the page's variable for what is nearly black or white, else nothing."""
    parts = rgb(colour)
    if max(parts) <= NEAR:
        return "var(--ink)"
    return "var(--figure)" if colour == "#ffffff" else ""


def dark_colour(colour: str) -> str:
    """Return what a colour becomes on a dark ground.

    Greys change places between ground and ink; a tint (lightness above 0.8) becomes a shade of
    its hue; any other colour is lightened, hue kept, until it stands out 3:1.

    Examples
    --------
    >>> dark_colour("#ffffff"), dark_colour("#1a1a1a")
    ('var(--figure)', 'var(--ink)')
    >>> contrast("#0a4044", DARK_GROUND) < 3 <= contrast(dark_colour("#0a4044"), DARK_GROUND)
    True
    """
    if page := _page_colour(colour):
        return page
    red, green, blue = rgb(colour)
    hue, lightness, saturation = colorsys.rgb_to_hls(red, green, blue)
    if max(red, green, blue) - min(red, green, blue) < 0.06:
        return mixed(DARK_INK, DARK_GROUND, lightness)
    if lightness > 0.8:
        return hex_of(*colorsys.hls_to_rgb(hue, 0.19, min(saturation, 0.3)))
    lighter = colour
    while contrast(lighter, DARK_GROUND) < DARK_CONTRAST:
        lightness += 0.02
        lighter = hex_of(*colorsys.hls_to_rgb(hue, lightness, saturation))
    return lighter


def rgb(colour: str) -> tuple[float, float, float]:
    """Return red, green and blue from 0 to 1."""
    red, green, blue = (int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5))
    return red, green, blue


def hex_of(red: float, green: float, blue: float) -> str:
    """Return ``#rrggbb``."""
    return "#" + "".join(f"{round(255 * part):02x}" for part in (red, green, blue))


def mixed(first: str, second: str, share: float) -> str:
    """Return the colour ``share`` of the way from the first to the second."""
    parts = (a + share * (b - a) for a, b in zip(rgb(first), rgb(second), strict=True))
    return hex_of(*parts)


def contrast(first: str, second: str) -> float:
    """Return the contrast ratio of two colours (WCAG 2.2, "contrast ratio").

    Examples
    --------
    >>> round(contrast("#000000", "#ffffff"), 1)
    21.0
    """
    lighter, darker = sorted((luminance(first), luminance(second)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def luminance(colour: str) -> float:
    """Return the relative luminance of a colour (WCAG 2.2, "relative luminance")."""
    linear = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in rgb(colour))
    return sum(w * p for w, p in zip((0.2126, 0.7152, 0.0722), linear, strict=True))
