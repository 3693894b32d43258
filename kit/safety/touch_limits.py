"""Published touch-temperature limits and burn thresholds, each with how far it was checked.

None of them is a safe limit. They say at which surface temperature a standard stops calling a
surface harmless to touch for so long, or at which contact of so long can burn healthy skin; they
hold at an ordinary room temperature and say nothing about the cell inside.
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["AMBIENT_C", "BURN", "TOUCH", "TOUCH_LIMITS", "TouchLimit"]

TOUCH = "IEC 62368-1:2018, Table 38, TS1"
BURN = "ISO 13732-1:2006, Table 1 and figures"

AMBIENT_C = 25.0
"""Ambient at which the limits of IEC 62368-1 hold; they are not scaled to a hotter one."""

_MEMORY = "see the standard; values from memory, check the edition"
_PARTLY = "see the standard; {} quoted on a product-safety list, the rest from memory"


@dataclass(frozen=True, kw_only=True)
class TouchLimit:
    """Surface temperatures (°C) for one time of contact, by material.

    Parameters
    ----------
    contact
        Time of contact, in words.
    metal, glass, plastic
        Temperatures of uncoated metal, of glass and ceramics, of plastic and rubber (°C).
    document
        Standard and table.
    status
        How far the values were checked.
    """

    contact: str
    metal: float
    glass: float
    plastic: float
    document: str
    status: str

    @property
    def lowest(self) -> float:
        """Return the lowest of the three (°C), for a surface of unknown material.

        Examples
        --------
        >>> TOUCH_LIMITS[0].lowest
        48.0
        """
        return min(self.metal, self.glass, self.plastic)


def _touch(
    contact: str, metal: float, glass: float, plastic: float, status: str = _MEMORY
) -> TouchLimit:
    return TouchLimit(
        contact=contact, metal=metal, glass=glass, plastic=plastic, document=TOUCH, status=status
    )


def _burn(contact: str, metal: float, glass: float, plastic: float) -> TouchLimit:
    return TouchLimit(
        contact=contact, metal=metal, glass=glass, plastic=plastic, document=BURN, status=_MEMORY
    )


TOUCH_LIMITS: tuple[TouchLimit, ...] = (
    _touch("longer than 1 min", 48.0, 48.0, 48.0, _PARTLY.format("48 °C")),
    _touch("10 s to 1 min", 51.0, 56.0, 60.0),
    _touch("1 s to 10 s", 60.0, 71.0, 77.0, _PARTLY.format("77 °C")),
    _touch("shorter than 1 s", 70.0, 85.0, 94.0, _PARTLY.format("94 °C")),
    _burn("8 h and longer", 43.0, 43.0, 43.0),
    _burn("10 min", 48.0, 48.0, 48.0),
    _burn("1 min", 51.0, 56.0, 60.0),
)
"""By document, the longest contact first in the touch limits and in the burn thresholds."""
