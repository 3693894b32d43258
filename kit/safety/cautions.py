"""Cautions on heat and charging: what this record calls for, and what always holds.

Nothing here replaces the maker's instructions, local codes or qualified people. The advice is in
`kit.safety.advice`, the published limits are in `kit.safety.touch_limits`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from kit.display import Block, Column, Prose, Table
from kit.labels import device_names
from kit.safety.advice import ALWAYS, SOURCES, Advice
from kit.safety.touch_limits import AMBIENT_C, TOUCH_LIMITS, TouchLimit
from kit.units import NO_BREAK, clock, joined, number

if TYPE_CHECKING:
    from datetime import datetime

    from kit.results import Results
    from kit.session import Session

__all__ = [
    "CHARGE_HIGH_C",
    "CHARGE_LOW_C",
    "Cautions",
    "LimitReached",
    "cautions",
    "session_cautions",
]

CHARGE_LOW_C, CHARGE_HIGH_C = 0.0, 40.0
"""Do not charge below 32 °F (0 °C) or above 105 °F, printed as 40 °C: US Fire Administration,
citing NFPA (read). 105 °F is 40.6 °C; the lower figure is used."""

WARM_BEFORE_CHARGE_C = 40.0
"""A surface warmer than this (°C) is told beside a charge: the ambient window, common practice."""

_HEAT = re.compile(r"(?<![a-z])(heat|overheat(ed|ing)?|hot|thermal(ly)?|temperature)(?![a-z])")
"""A cause that reads so is told as a shutdown by heat."""

_DANGER = re.compile(
    r"(?<![a-z])(swell|swollen|bulg|smok|smell|hiss|leak|spark|fire(?![a-z])|vent(ed|ing)(?![a-z]))"
)
"""A cause that reads so is told as a cell in danger."""

LONG_CONTACT_C = 48.0
"""From here on (°C) a limit for contact of ten minutes or less is reached."""


@dataclass(frozen=True, kw_only=True)
class LimitReached:
    """A published limit and the devices (ids) whose warmest record reached its lowest value."""

    limit: TouchLimit
    reached_by: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Cautions:
    """The cautions of one session.

    Parameters
    ----------
    urgent
        What happened in this session and asks for action: incidents, heat, charging.
    record
        What its temperatures say, or that they were not recorded.
    limits
        The published limits beside the record.
    always
        Advice that holds for every session.
    measured
        Whether any surface temperature was recorded.
    """

    urgent: tuple[str, ...]
    record: tuple[str, ...]
    limits: tuple[LimitReached, ...]
    always: tuple[Advice, ...]
    measured: bool


@dataclass(frozen=True, kw_only=True)
class _Warmest:
    """The warmest surface record of one device."""

    device: str
    value: float
    when: str


def _times(session: Session) -> dict[int, datetime | None]:
    return {run.number: run.start for run in session.runs}


def _at(session: Session, run: int, t_min: float) -> str:
    """Return `` at 10:21`` (with the run, if there are several), or nothing if no time is known."""
    start = _times(session).get(run)
    if start is None or t_min != t_min:
        when = "" if t_min != t_min else f" after {number(t_min)} min"
    else:
        when = f" at {clock(start, t_min)}".replace(NO_BREAK, " ")
    return when + (f" in run {run}" if len(session.runs) > 1 else "")


def _warmest(session: Session) -> tuple[_Warmest, ...]:
    """Return the warmest surface record of each device that has one, the warmest first."""
    frame = session.temperatures
    frame = frame[(frame["device"] != "") & frame["temperature_c"].notna()]
    if frame.empty:
        return ()
    top = frame.sort_values("temperature_c", ascending=False, kind="stable")
    top = top.drop_duplicates("device")
    return tuple(
        _Warmest(device=str(d), value=float(c), when=_at(session, int(run), float(t)))
        for d, c, run, t in zip(
            top["device"], top["temperature_c"], top["run"], top["t_min"], strict=True
        )
    )


def _as_number(value: object) -> float:
    try:
        return float(str(value).replace(",", "."))
    except ValueError:
        return float("nan")


def _room(session: Session) -> tuple[float, ...]:
    """Return all room temperatures recorded (°C), lowest first."""
    frame = session.temperatures
    logged = frame.loc[frame["device"] == "", "temperature_c"].tolist()
    ends = [_as_number(session.conditions.get(key)) for key in ("room_start_c", "room_end_c")]
    return tuple(sorted(float(c) for c in (*logged, *ends) if c == c))


def _degrees(value: float) -> str:
    text = number(value, 1)
    return f"{text.removesuffix('.0')} °C"


def _range(values: tuple[float, ...]) -> str:
    if values[0] == values[-1]:
        return f"at {_degrees(values[0])}"
    return f"between {_degrees(values[0])} and {_degrees(values[-1])}"


def _surface_text(session: Session, warmest: tuple[_Warmest, ...]) -> str:
    names = device_names(session)
    if not warmest:
        return (
            "Surface temperatures were not recorded: how warm the devices became is not known, and "
            "nothing here says that they stayed cool."
        )
    top = warmest[0]
    reached = [f.limit for f in _limits(warmest) if f.reached_by]
    if not reached:
        verdict = "It is below every value in the table of published limits."
    elif top.value < LONG_CONTACT_C:
        verdict = (
            f"It reaches {_degrees(reached[0].lowest)}, the threshold for contact of "
            f"{reached[0].contact}, and no limit for a shorter contact."
        )
    else:
        verdict = "The table of published limits shows what it reaches."
    silent = [names[d.id] for d in session.devices if d.id not in {w.device for w in warmest}]
    missing = f" None was recorded of {joined(silent)}." if silent else ""
    return (
        f"The warmest surface recorded was {_degrees(top.value)}, on {names.get(top.device, '')}"
        f"{top.when}. {verdict} A spot that was not measured may have been hotter.{missing}"
    )


def _room_text(room: tuple[float, ...]) -> str:
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
            f" That is above the {_degrees(AMBIENT_C)} at which the touch limits hold; they are "
            "not scaled to a hotter room."
        )
    return text


def _limits(warmest: tuple[_Warmest, ...]) -> tuple[LimitReached, ...]:
    return tuple(
        LimitReached(
            limit=limit, reached_by=tuple(w.device for w in warmest if w.value >= limit.lowest)
        )
        for limit in TOUCH_LIMITS
    )


def _hot(session: Session, warmest: tuple[_Warmest, ...]) -> str:
    names = device_names(session)
    hot = [w for w in warmest if w.value >= LONG_CONTACT_C]
    if not hot:
        return ""
    told = joined([f"{names.get(w.device, w.device)} {_degrees(w.value)}{w.when}" for w in hot])
    return (
        f"Surfaces of {_degrees(LONG_CONTACT_C)} or more were recorded: {told}. "
        f"{_degrees(LONG_CONTACT_C)} is the touch limit of one standard for contact longer than a "
        "minute, and the burn threshold of another for ten minutes (the table says how far these "
        "were checked). Do not hold such a device or leave it on skin, fabric or paper; stop the "
        "activity and let it cool uncovered."
    )


def _outside_window(room: tuple[float, ...]) -> str:
    if not room or (room[0] >= CHARGE_LOW_C and room[-1] <= CHARGE_HIGH_C):
        return ""
    odd = room[-1] if room[-1] > CHARGE_HIGH_C else room[0]
    return (
        f"The room was at {_degrees(odd)}, outside {number(CHARGE_LOW_C, 0)} to "
        f"{number(CHARGE_HIGH_C, 0)} °C. Do not charge there: bring the devices into a room within "
        "the window and let them reach its temperature first."
    )


def _charges(session: Session) -> tuple[str, ...]:
    names, frame, heat = device_names(session), session.charges, session.temperatures
    told = []
    for run, device, start, end in zip(
        *(frame[c].tolist() for c in ("run", "device", "start_min", "end_min")), strict=True
    ):
        who = names.get(device, "A device")
        before = heat[(heat["run"] == run) & (heat["device"] == device) & (heat["t_min"] <= start)]
        before = before[before["temperature_c"].notna()]
        warm = ""
        if len(before):
            last = before.sort_values("t_min", kind="stable").iloc[-1]
            value = float(last["temperature_c"])
            if value > WARM_BEFORE_CHARGE_C:
                warm = (
                    f" Its last surface temperature before that was {_degrees(value)}, too warm to "
                    "begin a charge."
                )
        until = "" if end != end else f", taken off{_at(session, run, end)}"
        told.append(
            f"{who} was charged during the session{_at(session, run, start)}{until}.{warm} A "
            "device that has just worked is warmer inside than outside: let it cool first, and "
            "stay with it while it charges."
        )
    return tuple(told)


def _danger(who: str, what: str, when: str) -> str:
    return (
        f"{what} was recorded on {who}{when}. Do not use, charge, press or open it again; keep it "
        "away from people and from things that burn, and ask its maker or a qualified person how "
        "to have it collected. If it smokes, hisses or heats up: move away, get everybody out, and "
        "call the local emergency number."
    )


def _overheated(who: str, when: str) -> str:
    return (
        f"{who} shut down by heat{when}. Let it cool uncovered to the temperature of the room "
        "before anything else, do not charge it warm, and stop using it if it happens again or if "
        "it looks, smells or feels changed."
    )


def _incidents(session: Session) -> tuple[str, ...]:
    names = device_names(session)
    told: dict[str, None] = {}
    for frame, time in ((session.incidents, "t_min"), (session.power_offs, "noted_min")):
        for run, device, t, cause in zip(
            *(frame[c].tolist() for c in ("run", "device", time, "cause")), strict=True
        ):
            text = str(cause).strip()
            kind, when, who = text.casefold(), _at(session, run, t), names.get(device, "a device")
            if _DANGER.search(kind):
                what = "Swelling" if kind == "swelling" else f"An incident (“{text}”)"
                told[_danger(who, what, when)] = None
            elif _HEAT.search(kind.replace("_", " ")):
                told[_overheated(who[:1].upper() + who[1:], when)] = None
    return tuple(told)


def session_cautions(session: Session) -> Cautions:
    """Return the cautions of one session.

    Parameters
    ----------
    session
        A session as read: temperatures (°C), charges, incidents, power-offs and conditions count.

    Returns
    -------
    Cautions
        Never empty: what was not recorded is said, and the usual advice always stands.

    References
    ----------
    `kit.safety.advice` for the advice; `kit.safety.touch_limits` for the limits, and how far each
    was checked.
    """
    warmest, room = _warmest(session), _room(session)
    urgent = (
        *_incidents(session),
        _hot(session, warmest),
        _outside_window(room),
        *_charges(session),
    )
    return Cautions(
        urgent=tuple(text for text in urgent if text),
        record=(_surface_text(session, warmest), _room_text(room)),
        limits=_limits(warmest),
        always=ALWAYS,
        measured=bool(warmest),
    )


def _limit_table(session: Session, found: Cautions) -> Table:
    names = device_names(session)
    return Table(
        id="touch-limits",
        caption="Published touch limits and burn thresholds beside the warmest surfaces recorded",
        columns=(
            Column(name="Contact"),
            Column(name="Metal", unit="°C", align="right"),
            Column(name="Glass, ceramics", unit="°C", align="right"),
            Column(name="Plastic, rubber", unit="°C", align="right"),
            Column(name="Reached by"),
            Column(name="Source"),
            Column(name="How far checked"),
        ),
        rows=tuple(
            (
                row.limit.contact,
                number(row.limit.metal),
                number(row.limit.glass),
                number(row.limit.plastic),
                joined([names.get(d, d) for d in row.reached_by])
                or ("none" if found.measured else "not recorded"),
                row.limit.document,
                row.limit.status,
            )
            for row in found.limits
        ),
        notes=(
            "None of these is a safe limit: they say at which temperature contact of that length "
            "can harm healthy skin or is no longer called harmless. They say nothing about the "
            "cell inside, which is hotter than the surface; its limits are its maker's.",
            "The material of each surface was not recorded: a device counts as having reached a "
            "row from the lowest value in it.",
            f"The touch limits hold at {_degrees(AMBIENT_C)} ambient and are not scaled to a "
            "hotter room; record the room's temperature beside every surface temperature.",
        ),
    )


def cautions(results: Results) -> tuple[Prose | Table, ...]:
    """Return the cautions of a session as the report shows them.

    Parameters
    ----------
    results
        An analysis; only its session is used.
    """
    session = results.session
    found = session_cautions(session)
    keys = dict.fromkeys(key for advice in found.always for key in advice.sources)
    pages = "; ".join(SOURCES[key] for key in keys if key != "practice")
    return (
        Prose(
            blocks=(
                *(Block(kind="caution", text=text) for text in found.urgent),
                Block(kind="heading", text="What this record says"),
                *(Block(text=text) for text in found.record),
            )
        ),
        _limit_table(session, found),
        Prose(
            blocks=(
                Block(kind="heading", text="Always"),
                *(Block(kind="bullet", text=advice.text) for advice in found.always),
                Block(
                    text=f"Paraphrased from public advice: {pages}. The rest is common practice, "
                    "without a source."
                ),
            )
        ),
    )
