"""The conditions that the kit knows by name: label, unit and kind of each, for the report."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["CONDITIONS", "Condition"]

Kind = Literal["number", "text", "switch", "number_or_text"]


@dataclass(frozen=True, kw_only=True)
class Condition:
    """One known key of ``[conditions]``.

    Parameters
    ----------
    label, unit
        As the report prints them.
    kind
        ``switch``: true, false or a text such as ``"on from 20 %"``.
    low, high
        Bounds of a number.
    """

    label: str
    unit: str = ""
    kind: Kind = "text"
    low: float = 0.0
    high: float = float("inf")


CONDITIONS: Mapping[str, Condition] = {
    "network": Condition(label="Network"),
    "brightness_pct": Condition(label="Brightness setting", unit="%", kind="number", high=100.0),
    "luminance_cd_m2": Condition(label="Measured luminance", unit="cd/m²", kind="number"),
    "auto_brightness": Condition(label="Automatic brightness", kind="switch"),
    "notifications": Condition(label="Notifications", kind="switch"),
    "volume": Condition(label="Volume", kind="number_or_text"),
    "room_start_c": Condition(
        label="Room temperature at the start", unit="°C", kind="number", low=-60.0, high=100.0
    ),
    "room_end_c": Condition(
        label="Room temperature at the end", unit="°C", kind="number", low=-60.0, high=100.0
    ),
    "refresh_rate_hz": Condition(label="Refresh rate", unit="Hz", kind="number_or_text"),
    "start_charge_pct": Condition(label="Charge at the start", unit="%", kind="number", high=100.0),
    "held_full_min": Condition(label="Held on the charger after full", unit="min", kind="number"),
    "off_charger_min": Condition(
        label="Off the charger before the start", unit="min", kind="number"
    ),
    "power_saver": Condition(label="Power saver", kind="switch"),
    "power_saver_threshold_pct": Condition(
        label="Power saver starts at", unit="%", kind="number", high=100.0
    ),
    "dimming": Condition(label="Low-battery dimming", kind="switch"),
    "dimming_threshold_pct": Condition(
        label="Dimming starts at", unit="%", kind="number", high=100.0
    ),
}
"""Known conditions in the order of the report; any other key is free and shown as it stands."""
