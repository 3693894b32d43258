"""How figures look: colours, markers and sizes that hold on white and on dark paper.

Six hues, each with a contrast of at least 3:1 against white and against ``DARK``, chosen so
that they stay apart (CIE 1976 colour difference of at least 13) in simulated protanopia,
deuteranopia and tritanopia as well; a test computes both. No meaning rests on colour: every
device also has its own marker, from the seventh on a broken line, and its name beside it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = [
    "BAND",
    "DARK",
    "FONT_PT",
    "HUES",
    "INK",
    "SMALL_PT",
    "WIDTH_IN",
    "Style",
    "device_styles",
]

HUES = ("#3d8fe6", "#b84010", "#17a085", "#6f4ae0", "#a19419", "#c43490")
MARKERS = ("o", "s", "^", "D", "v", "P", "X", "p", "<", "h", ">", "*")
DARK = "#15191e"
INK = "#1a1a1a"
"""Text and axes; the HTML report turns near-black ink into the colour of the theme's text."""
BAND = "#808080"
BAND_ALPHA = 0.13

WIDTH_IN = 6.69
"""Width of the text on an A4 page with margins of 20 mm (170 mm); figures are set at this size."""
FONT_PT = 9.0
SMALL_PT = 8.0


@dataclass(frozen=True)
class Style:
    """How one device is drawn in every figure."""

    colour: str
    marker: str
    dashes: tuple[float, ...]
    """Lengths of dash and gap; empty: an unbroken line."""


def device_styles(devices: Sequence[str]) -> dict[str, Style]:
    """Return device id → style, by order.

    Examples
    --------
    >>> styles = device_styles([str(k) for k in range(12)])
    >>> len({(s.colour, s.marker) for s in styles.values()})
    12
    """
    return {
        device: Style(
            colour=HUES[k % len(HUES)],
            marker=MARKERS[k % len(MARKERS)],
            dashes=() if (k // len(HUES)) % 2 == 0 else (4.0, 1.5),
        )
        for k, device in enumerate(devices)
    }
