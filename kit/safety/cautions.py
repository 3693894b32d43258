"""Cautions on heat and charging: what this record calls for, and what always holds.

Nothing here replaces the maker's instructions, local codes or qualified people. The advice is in
`kit.safety.advice`, what temperatures say in `kit.safety.temperatures`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from kit.display import Block, Column, Prose, Table
from kit.labels import device_names
from kit.safety.advice import ALWAYS, SOURCES, Advice
from kit.safety.temperatures import (
    LimitReached,
    degrees,
    hot_text,
    limits_reached,
    outside_window_text,
    room_temperatures,
    room_text,
    surface_text,
    warmest_surfaces,
    when_text,
)
from kit.safety.touch_limits import AMBIENT_C
from kit.units import joined, number

if TYPE_CHECKING:
    from kit.results import Results
    from kit.session import Session

__all__ = ["Cautions", "cautions", "session_cautions"]

WARM_BEFORE_CHARGE_C = 40.0
"""A surface warmer than this (°C) is told beside a charge: the ambient window, common practice."""

_HEAT = re.compile(r"(?<![a-z])(heat|overheat(ed|ing)?|hot|thermal(ly)?|temperature)(?![a-z])")
"""A cause that reads so is told as a shutdown by heat."""

_DANGER = re.compile(
    r"(?<![a-z])(swell|swollen|bulg|smok|smell|hiss|leak|spark|fire(?![a-z])|vent(ed|ing)(?![a-z]))"
)
"""A cause that reads so is told as a cell in danger."""


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
                    f" Its last surface temperature before that was {degrees(value)}, too warm to "
                    "begin a charge."
                )
        until = "" if end != end else f", taken off{when_text(session, run, end)}"
        told.append(
            f"{who} was charged during the session{when_text(session, run, start)}{until}.{warm} A "
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
            kind, when, who = (
                text.casefold(),
                when_text(session, run, t),
                names.get(device, "a device"),
            )
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
    warmest, room = warmest_surfaces(session), room_temperatures(session)
    urgent = (
        *_incidents(session),
        hot_text(session, warmest),
        outside_window_text(room),
        *_charges(session),
    )
    return Cautions(
        urgent=tuple(text for text in urgent if text),
        record=(surface_text(session, warmest), room_text(room)),
        limits=limits_reached(warmest),
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
            f"The touch limits hold at {degrees(AMBIENT_C)} ambient and are not scaled to a "
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
