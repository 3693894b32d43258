"""Rules on conditions: missing ones, unlike ones, and those that bend the results."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from kit.checks.rule import COMMON_PRACTICE, Doubt, rule
from kit.checks.text import joined, minutes, number, quoted
from kit.units import NO_BREAK, NOT_RECORDED, count, recorded

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from kit.checks.facts import Facts

__all__ = ["REQUIRED", "RULES", "RoomTemperature", "as_number", "room_temperatures"]

REQUIRED: Mapping[str, tuple[str, ...]] = {
    "network": ("network",),
    "brightness": ("brightness_pct", "luminance_cd_m2"),
    "auto-brightness": ("auto_brightness",),
    "notifications": ("notifications",),
    "volume": ("volume",),
    "room temperature at the start": ("room_start_c",),
    "room temperature at the end": ("room_end_c",),
    "refresh rate": ("refresh_rate_hz",),
    "time held at full on the charger": ("held_full_min",),
    "time off the charger before the start": ("off_charger_min",),
    "power saver": ("power_saver",),
    "low-battery dimming": ("dimming",),
}
"""Conditions a comparison needs: name → keys, one of which must be recorded.

After the conditions listed in Regulation (EU) 2023/1669, annex IV (power saving off, software
version stated; read in German) and common practice; no source gives this list as such.
"""

HELD_LONG_MIN = 120.0
"""Held at full longer than this (min), a topped-up battery may be anywhere near full."""

HELD_LONG_PP = 2.0
"""... by about this much (pp); a guess, no source."""

TEMPERATURE_SPAN_K = 5.0
"""A change of room temperature beyond this (K) moves usable charge by 1–2 %: common practice."""

ROOM_LOW_C, ROOM_HIGH_C = 18.0, 28.0
"""(23 ± 5) °C, IEC 62301 clause 4 as quoted by the US Department of Energy."""

DECIMAL_COMMA = str.maketrans(",", ".")


def as_number(value: object) -> float:
    """Return a recorded value as a number, NaN if it is none.

    Examples
    --------
    >>> as_number(21), as_number("21,5"), as_number("about 20"), as_number(None)
    (21.0, 21.5, nan, nan)
    """
    if isinstance(value, bool) or not isinstance(value, (int, float, str)):
        return float("nan")
    try:
        return float(value.translate(DECIMAL_COMMA)) if isinstance(value, str) else float(value)
    except ValueError:
        return float("nan")


def _text(value: object) -> str:
    return recorded(value).replace(NO_BREAK, " ")


@dataclass(frozen=True, kw_only=True)
class RoomTemperature:
    """One room temperature (°C) and where it stands."""

    value: float
    place: Literal["log", "setup"]
    line: int | None
    column: str


def room_temperatures(facts: Facts, run: int) -> tuple[RoomTemperature, ...]:
    """Return all room temperatures recorded for one run: those of the setup file, then the log."""
    place: Literal["log", "setup"] = "setup" if facts.session.has_setup else "log"
    found = [
        RoomTemperature(value=value, place=place, line=None, column=f"conditions.{key}")
        for key in ("room_start_c", "room_end_c")
        if not np.isnan(value := as_number(facts.condition(key)))
    ]
    frame = facts.session.temperatures
    if frame.empty:
        return tuple(found)
    room = (frame["device"] == "") & (frame["run"] == facts.runs[run])
    for value, line in frame.loc[room, ["temperature_c", "line"]].itertuples(index=False):
        if not np.isnan(value):
            found.append(
                RoomTemperature(
                    value=float(value), place="log", line=int(line), column="temperature_c"
                )
            )
    return tuple(found)


def _is_missing(facts: Facts, keys: tuple[str, ...]) -> bool:
    """Return whether none of the keys is recorded, for the session or for each of its devices."""
    rows = range(len(facts.devices))
    return not any(
        facts.condition(key) is not None
        or (rows and all(facts.condition(key, d) is not None for d in rows))
        for key in keys
    )


def _room_logged(facts: Facts) -> bool:
    return int((facts.session.temperatures["device"] == "").sum()) > 1


@rule(
    "condition-missing",
    "caution",
    sees="Conditions that a comparison needs and the record does not have, in one list.",
    to_do='Add them under [conditions]; "not recorded" is an honest entry and stays listed.',
)
def condition_missing(facts: Facts) -> Iterator[Doubt]:
    missing = [name for name, keys in REQUIRED.items() if _is_missing(facts, keys)]
    if _room_logged(facts):
        missing = [name for name in missing if not name.startswith("room temperature")]
    unknown = [d.id for d in facts.session.devices if recorded(d.software) == NOT_RECORDED]
    if unknown:
        everyone = len(unknown) == len(facts.devices)
        missing.append("software version" + ("" if everyone else f" of {quoted(unknown)}"))
    if not missing:
        return
    if facts.session.has_setup:
        found = f"{count(len(missing), 'condition')} not recorded: {joined(missing)}"
        remedy = (
            "Add what is known under [conditions] (software under [[devices]]). What was not "
            "recorded stays so, and the report says it: nobody can repeat the session, or compare "
            "another with it, in that respect."
        )
    else:
        found = f"no setup file, so these conditions are not recorded: {joined(missing)}"
        remedy = (
            "Put a session.toml beside the log with the sections [session], [conditions], "
            "[[devices]] and [[phases]]. Until then the report says for each that it was not "
            "recorded."
        )
    yield Doubt(
        severity="caution",
        place="setup",
        column="conditions" if facts.session.has_setup else "",
        found=found,
        expected="a record of the conditions that a comparison needs",
        remedy=remedy,
    )


@rule(
    "brightness-not-luminance",
    "caution",
    sees="Brightness in per cent of a slider and no measured luminance: equal per cent is not "
    "equal light.",
    to_do="Measure the luminance of a white page (cd/m²) at that setting, or set equal luminance.",
)
def brightness_not_luminance(facts: Facts) -> Iterator[Doubt]:
    rows = range(len(facts.devices))
    without = [d for d in rows if facts.condition("luminance_cd_m2", d) is None]
    slider = [d for d in without if facts.condition("brightness_pct", d) is not None]
    if not slider:
        return
    settings = {_text(facts.condition("brightness_pct", d)) for d in slider}
    who = (
        ""
        if len(slider) == len(facts.devices)
        else f" for {quoted(facts.devices[d] for d in slider)}"
    )
    yield Doubt(
        severity="caution",
        place="setup",
        column="conditions.brightness_pct",
        found=f"brightness as {joined([f'{s} %' for s in sorted(settings)])} of the slider{who} "
        "and no luminance",
        expected="luminance in cd/m² (luminance_cd_m2)",
        remedy="Equal per cent is not equal light: part of a difference in drain between two "
        "screens may be brightness. Measure a white page with a luminance meter and set equal "
        "cd/m²; without one, say 'at the same slider setting', not 'at the same brightness'.",
    )


@rule(
    "conditions-differ",
    "caution",
    sees="A condition that was not the same for all devices.",
    to_do="Name the difference in every comparison it enters, or repeat with equal conditions.",
)
def conditions_differ(facts: Facts) -> Iterator[Doubt]:
    keys = dict.fromkeys(key for d in facts.session.devices for key in d.conditions)
    rows = range(len(facts.devices))
    every = {key: [_text(facts.condition(key, d)) for d in rows] for key in keys}
    unlike = {key: values for key, values in every.items() if len(set(values)) > 1}
    for key, values in unlike.items():
        if key == "start_offset_min" or key.removesuffix("_threshold_pct") in unlike.keys() - {key}:
            continue
        told = [
            f"{quoted(n for n, v in zip(facts.devices, values, strict=True) if v == value)} {value}"
            for value in dict.fromkeys(values)
        ]
        yield Doubt(
            severity="caution",
            place="setup",
            column=f"devices.conditions.{key}",
            found=f"unlike values of {key}: {joined(told)}",
            expected="the same condition for every device",
            remedy=f"Differences between these devices are differences of device and {key} "
            "together: name it in each comparison, or repeat the session with equal conditions.",
        )


@rule(
    "software-differs",
    "caution",
    "note",
    sees="Unlike software versions; a caution between units of one model.",
    to_do="Update the units alike before a session; name the versions beside the result.",
)
def software_differs(facts: Facts) -> Iterator[Doubt]:
    versions: dict[str, dict[str, str]] = {}
    for device in facts.session.devices:
        if recorded(device.software) != NOT_RECORDED:
            versions.setdefault(device.model or "", {})[device.id] = device.software.strip()
    for model, units in versions.items():
        if model and len(set(units.values())) > 1:
            told = joined([f"'{name}' {version}" for name, version in units.items()])
            yield Doubt(
                severity="caution",
                place="setup",
                column="devices.software",
                found=f"unlike software on units of '{model}': {told}",
                expected="one software version on all units of a model",
                remedy="The difference between these units is one of unit and software together. "
                "Bring them to one version before the next session.",
            )
    every = {version for units in versions.values() for version in units.values()}
    if len(every) > 1 and len(versions) + len(versions.get("", {})) > 1:
        yield Doubt(
            severity="note",
            place="setup",
            column="devices.software",
            found=f"{len(every)} software versions in the row",
            expected="one version, where the devices allow it",
            remedy="Unlike kinds of device cannot always run the same software: the comparison is "
            "one of device and software as they were that day, and the versions belong beside it.",
        )


@rule(
    "held-at-full",
    "caution",
    sees="Devices held on the charger for more than two hours after full: a topped-up battery "
    "may have started a few per cent below full while showing 100 %.",
    to_do="Give the first phase ±2 pp more, or leave it out of comparisons.",
    source="a guess of its size, no source; the effect is common practice",
)
def held_at_full(facts: Facts) -> Iterator[Doubt]:
    held = [as_number(facts.condition("held_full_min", d)) for d in range(len(facts.devices))]
    long = [d for d, m in enumerate(held) if m > HELD_LONG_MIN]
    if long:
        everyone = len(long) == len(facts.devices)
        worst = max(held[d] for d in long)
        yield Doubt(
            severity="caution",
            place="setup",
            column="conditions.held_full_min",
            found=f"{'all devices' if everyone else quoted(facts.devices[d] for d in long)} held "
            f"at full for up to {minutes(worst)}",
            expected=f"at most {minutes(HELD_LONG_MIN)} on the charger after full",
            remedy="Chargers top up in steps, so such a device may start a few per cent below "
            "full while it shows 100 %. Give the true-charge drain of the first phase ±"
            f"{number(HELD_LONG_PP)} pp more (a guess), or leave that phase out of comparisons "
            "between devices.",
        )


@rule(
    "room-temperature-changed",
    "caution",
    sees="A room temperature that changed by more than 5 K within a run.",
    to_do="Compare phases early and late with that in mind; keep the room steadier next time.",
)
def room_temperature_changed(facts: Facts) -> Iterator[Doubt]:
    for run, number_ in enumerate(facts.runs):
        seen = sorted(room_temperatures(facts, run), key=lambda t: t.value)
        if not seen or seen[-1].value - seen[0].value <= TEMPERATURE_SPAN_K:
            continue
        low, high = seen[0], seen[-1]
        yield Doubt(
            severity="caution",
            place=high.place,
            line=high.line,
            column=high.column,
            found=f"a room between {number(low.value)} °C and {number(high.value)} °C, a change of "
            f"{number(high.value - low.value)} K",
            expected=f"a change of at most {number(TEMPERATURE_SPAN_K)} K",
            remedy="Usable charge changes by about 0.5 % per K below 20 °C, and a hot device dims "
            "or slows down, which lowers its rate: differences between early and late phases may "
            "be temperature.",
            run=number_,
        )


@rule(
    "room-temperature-unusual",
    "note",
    sees="A room outside 18 to 28 °C.",
    to_do="State the temperature beside the result; repeat near 23 °C for a general statement.",
    source="(23 ± 5) °C, IEC 62301 clause 4, as quoted by the US Department of Energy",
)
def room_temperature_unusual(facts: Facts) -> Iterator[Doubt]:
    middle = (ROOM_LOW_C + ROOM_HIGH_C) / 2.0
    for run, number_ in enumerate(facts.runs):
        seen = room_temperatures(facts, run)
        odd = [t for t in seen if not ROOM_LOW_C <= t.value <= ROOM_HIGH_C]
        if not odd:
            continue
        worst = max(odd, key=lambda t: abs(t.value - middle))
        yield Doubt(
            severity="note",
            place=worst.place,
            line=worst.line,
            column=worst.column,
            found=f"a room at {number(worst.value)} °C",
            expected=f"{number(ROOM_LOW_C)} to {number(ROOM_HIGH_C)} °C, the usual room for "
            "measurements of power",
            remedy="Results hold for that temperature. Say it beside them; do not compare them "
            "with a session in an ordinary room.",
            run=number_,
        )


@rule(
    "incident",
    "caution",
    sees="An incident in the log: swelling, a shutdown by heat, anything else.",
    to_do="Leave the device out of comparisons from then on; see the cautions of the report.",
    source=COMMON_PRACTICE,
)
def incident(facts: Facts) -> Iterator[Doubt]:
    frame = facts.session.incidents
    for number_, device, phase, t, cause, line in zip(
        *(frame[c].tolist() for c in ("run", "device", "phase", "t_min", "cause", "line")),
        strict=True,
    ):
        run = facts.runs.index(number_) if number_ in facts.runs else 0
        kind = cause.strip().casefold()
        who = f" of '{device}'" if device else ""
        when = "" if np.isnan(t) else f" at {facts.at(run, t)}"
        if kind == "swelling":
            found, remedy = f"swelling{who}{when}", (
                "Stop using and charging the device, keep away from it and follow its maker's "
                "instructions; see the cautions in the report. Its results from then on are not "
                "those of a sound battery."
            )  # fmt: skip
        elif kind == "heat_shutdown":
            found, remedy = f"a shutdown by heat{who}{when}", (
                "Let it cool before anything else. Its runtime until then is not that of its "
                "battery, and the drain around it is that of a device slowed down by heat."
            )  # fmt: skip
        else:
            found, remedy = f"an incident{who}{when}: {cause or 'no cause given'}", (
                "Read the drains around it with the incident in mind, and name it beside them."
            )  # fmt: skip
        yield Doubt(
            severity="caution",
            line=int(line),
            column="cause",
            found=found,
            expected="a session without incidents",
            remedy=remedy,
            device=device,
            phase=phase,
            run=number_,
        )


RULES = (
    condition_missing,
    brightness_not_luminance,
    conditions_differ,
    software_differs,
    held_at_full,
    room_temperature_changed,
    room_temperature_unusual,
    incident,
)
