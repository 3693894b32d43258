"""What recorded temperatures say: surfaces beside published limits, the room beside a window.

Nothing here replaces the maker's instructions, local codes or qualified people. The published
limits are in `kit.safety.touch_limits`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from kit.labels import device_names
from kit.safety.touch_limits import AMBIENT_C, TOUCH_LIMITS, TouchLimit
from kit.units import NO_BREAK, clock, joined, number

if TYPE_CHECKING:
    from datetime import datetime

    from kit.session import Session

__all__ = [
    "CHARGE_HIGH_C",
    "CHARGE_LOW_C",
    "LONG_CONTACT_C",
    "LimitReached",
    "Warmest",
    "degrees",
    "hot_text",
    "limits_reached",
    "outside_window_text",
    "room_temperatures",
    "room_text",
    "surface_text",
    "warmest_surfaces",
    "when_text",
]

CHARGE_LOW_C, CHARGE_HIGH_C = 0.0, 40.0
"""Do not charge below 32 °F (0 °C) or above 105 °F, printed as 40 °C: US Fire Administration,
citing NFPA (read). 105 °F is 40.6 °C; the lower figure is used."""

LONG_CONTACT_C = 48.0
"""From here on (°C) a limit for contact of ten minutes or less is reached."""


@dataclass(frozen=True, kw_only=True)
class LimitReached:
    """A published limit and the devices (ids) whose warmest record reached its lowest value."""

    limit: TouchLimit
    reached_by: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Warmest:
    """The warmest surface record of one device."""

    device: str
    value: float
    when: str


def _times(session: Session) -> dict[int, datetime | None]:
    return {run.number: run.start for run in session.runs}


def when_text(session: Session, run: int, t_min: float) -> str:
    """Return `` at 10:21`` (with the run, if there are several), or nothing if no time is known."""
    start = _times(session).get(run)
    if start is None or t_min != t_min:
        when = "" if t_min != t_min else f" after {number(t_min)} min"
    else:
        when = f" at {clock(start, t_min)}".replace(NO_BREAK, " ")
    return when + (f" in run {run}" if len(session.runs) > 1 else "")


def warmest_surfaces(session: Session) -> tuple[Warmest, ...]:
    """Return the warmest surface record of each device that has one, the warmest first."""
    frame = session.temperatures
    frame = frame[(frame["device"] != "") & frame["temperature_c"].notna()]
    if frame.empty:
        return ()
    top = frame.sort_values("temperature_c", ascending=False, kind="stable")
    top = top.drop_duplicates("device")
    return tuple(
        Warmest(device=str(d), value=float(c), when=when_text(session, int(run), float(t)))
        for d, c, run, t in zip(
            top["device"], top["temperature_c"], top["run"], top["t_min"], strict=True
        )
    )


def _as_number(value: object) -> float:
    try:
        return float(str(value).replace(",", "."))
    except ValueError:
        return float("nan")


def room_temperatures(session: Session) -> tuple[float, ...]:
    """Return all room temperatures recorded (°C), lowest first."""
    frame = session.temperatures
    logged = frame.loc[frame["device"] == "", "temperature_c"].tolist()
    ends = [_as_number(session.conditions.get(key)) for key in ("room_start_c", "room_end_c")]
    return tuple(sorted(float(c) for c in (*logged, *ends) if c == c))


def degrees(value: float) -> str:
    """Return a temperature as text, without a decimal that is 0."""
    text = number(value, 1)
    return f"{text.removesuffix('.0')} °C"


def _range(values: tuple[float, ...]) -> str:
    if values[0] == values[-1]:
        return f"at {degrees(values[0])}"
    return f"between {degrees(values[0])} and {degrees(values[-1])}"


def surface_text(session: Session, warmest: tuple[Warmest, ...]) -> str:
    """Return what the warmest surface reached, or that none was recorded."""
    names = device_names(session)
    if not warmest:
        return (
            "Surface temperatures were not recorded: how warm the devices became is not known, and "
            "nothing here says that they stayed cool."
        )
    top = warmest[0]
    reached = [f.limit for f in limits_reached(warmest) if f.reached_by]
    if not reached:
        verdict = "It is below every value in the table of published limits."
    elif top.value < LONG_CONTACT_C:
        verdict = (
            f"It reaches {degrees(reached[0].lowest)}, the threshold for contact of "
            f"{reached[0].contact}, and no limit for a shorter contact."
        )
    else:
        verdict = "The table of published limits shows what it reaches."
    silent = [names[d.id] for d in session.devices if d.id not in {w.device for w in warmest}]
    missing = f" None was recorded of {joined(silent)}." if silent else ""
    return (
        f"The warmest surface recorded was {degrees(top.value)}, on {names.get(top.device, '')}"
        f"{top.when}. {verdict} A spot that was not measured may have been hotter.{missing}"
    )


def room_text(room: tuple[float, ...]) -> str:
    """Return where the room lay beside the usual window for charging."""
    window = f"{number(CHARGE_LOW_C, 0)} to {number(CHARGE_HIGH_C, 0)} °C"
    source = "US Fire Administration, citing NFPA"
    if not room:
        return (
            "The temperature of the room was not recorded. Charge only between "
            f"{number(CHARGE_LOW_C, 0)} and {number(CHARGE_HIGH_C, 0)} °C ({source}), or within "
            "the maker's narrower window; a surface temperature without the room's cannot be "
            "carried over to another room."
        )
    if room[0] < CHARGE_LOW_C or room[-1] > CHARGE_HIGH_C:
        within = f"outside the usual window for charging, {window}"
    else:
        within = f"within the usual window for charging, {window}"
    text = f"The room was {_range(room)}, {within} ({source}); the maker's window holds."
    if room[-1] > AMBIENT_C:
        text += (
            f" That is above the {degrees(AMBIENT_C)} at which the touch limits hold; they are "
            "not scaled to a hotter room."
        )
    return text


def limits_reached(warmest: tuple[Warmest, ...]) -> tuple[LimitReached, ...]:
    """Return every published limit with the devices that reached it."""
    return tuple(
        LimitReached(
            limit=limit, reached_by=tuple(w.device for w in warmest if w.value >= limit.lowest)
        )
        for limit in TOUCH_LIMITS
    )


def hot_text(session: Session, warmest: tuple[Warmest, ...]) -> str:
    """Return which surfaces are too hot to hold, and what to do; "" if none was."""
    names = device_names(session)
    hot = [w for w in warmest if w.value >= LONG_CONTACT_C]
    if not hot:
        return ""
    told = joined([f"{names.get(w.device, w.device)} {degrees(w.value)}{w.when}" for w in hot])
    return (
        f"Surfaces of {degrees(LONG_CONTACT_C)} or more were recorded: {told}. "
        f"{degrees(LONG_CONTACT_C)} is the touch limit of one standard for contact longer than a "
        "minute, and the burn threshold of another for ten minutes (the table says how far these "
        "were checked). Do not hold such a device or leave it on skin, fabric or paper; stop the "
        "activity and let it cool uncovered."
    )


def outside_window_text(room: tuple[float, ...]) -> str:
    """Return that the room was too cold or too warm to charge in; "" if it was not."""
    if not room or (room[0] >= CHARGE_LOW_C and room[-1] <= CHARGE_HIGH_C):
        return ""
    odd = room[-1] if room[-1] > CHARGE_HIGH_C else room[0]
    return (
        f"The room was at {degrees(odd)}, outside {number(CHARGE_LOW_C, 0)} to "
        f"{number(CHARGE_HIGH_C, 0)} °C. Do not charge there: bring the devices into a room within "
        "the window and let them reach its temperature first."
    )
