"""Rules on whether a device's end was recorded, and how closely."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from kit.checks.power_off_doubt import at_power_off
from kit.checks.rule import Doubt, rule
from kit.checks.text import h_min, minutes, quoted

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kit.checks.facts import Facts

__all__ = ["RULES"]

LONG_WINDOW_MIN = 10.0
"""A power-off known only to within this long (min) cannot order devices that end together."""


def _goes_on(facts: Facts, run: int) -> bool:
    """Return whether a run of several devices may still be going on: nothing says how it ended."""
    said = facts.session.runs[run]
    ended = said.stop_min is not None or said.stated_elapsed_min is not None
    noted = any((run, device) in facts.off_notes for device in range(len(facts.devices)))
    return len(facts.devices) > 1 and not ended and not noted


def _last_on(facts: Facts, run: int) -> str:
    """Return ``'a' and 'b' at 12:00, 'c' at 11:00``: when each device was last known to be on."""
    low = facts.windows[run].low
    alike: dict[str, list[str]] = {}
    for device in np.argsort(-low, kind="stable").tolist():
        when = "at no noted time" if np.isnan(low[device]) else f"at {facts.at(run, low[device])}"
        alike.setdefault(when, []).append(facts.devices[device])
    return ", ".join(f"{quoted(devices)} {when}" for when, devices in alike.items())


def _none_yet(facts: Facts, run: int) -> Doubt:
    """Return the one doubt about a run that may still be going on."""
    return Doubt(
        severity="caution",
        column="event" if facts.session.form == "long" else "",
        found="no power-off, no still-on mark and no stop of the session; last known to be on: "
        + _last_on(facts, run),
        expected="once the session is over, a power-off or a still-on mark for every device",
        remedy="If the session is still going on, nothing is amiss. If it is over, add for each "
        "device a power_off row with the minute, or a still_on row with the time it was last seen "
        "on. Until then every runtime has a lower limit only, and there is no order.",
        run=facts.runs[run],
    )


def _none_for(facts: Facts, run: int, device: int) -> Doubt:
    """Return the doubt about one device whose end was not noted, in a run where others were."""
    name, low = facts.devices[device], facts.windows[run].low[device]
    since = "no time at which it was on" if np.isnan(low) else f"on at {facts.at(run, low)}"
    return Doubt(
        severity="caution",
        column=facts.column(device) if facts.session.form == "wide" else "event",
        found=f"no power-off and no still-on mark for '{name}' ({since})",
        expected="a power-off, or a mark that it was still on, for every device",
        remedy="Add a power_off row with the minute, or a still_on row with the time it "
        "was last seen on. Without either its runtime has a lower limit only, and it "
        "takes no place in the order.",
        device=name,
        run=facts.runs[run],
    )


@rule(
    "power-off-missing",
    "caution",
    sees="A device with neither a power-off nor a mark that it was still on; one finding for all "
    "while nothing says that the session is over.",
    to_do="Add its power_off row, or a still_on row with the time at which it was last seen on.",
)
def power_off_missing(facts: Facts) -> Iterator[Doubt]:
    for run in range(len(facts.runs)):
        if _goes_on(facts, run):
            yield _none_yet(facts, run)
            continue
        for device in range(len(facts.devices)):
            if (run, device) not in facts.off_notes:
                yield _none_for(facts, run, device)


@rule(
    "still-on",
    "note",
    sees="A device still on when the session was stopped: its runtime is right-censored.",
    to_do="Read its runtime as 'longer than'; it has no upper limit and no average.",
)
def still_on(facts: Facts) -> Iterator[Doubt]:
    for (run, device), note in sorted(facts.off_notes.items()):
        if not note.still_on:
            continue
        low = facts.windows[run].low[device]
        last = "" if np.isnan(low) else f", last seen on at {facts.at(run, low)}"
        yield at_power_off(
            facts,
            (run, device),
            "note",
            f"'{facts.devices[device]}' still on at the stop{last}",
            "a power-off",
            "Its runtime is right-censored: it is longer than the time to that minute, and how "
            "much longer is not known. Run the next session to the end to have a figure.",
        )


@rule(
    "last-on-missing",
    "note",
    sees="A power-off whose noted minute says only when it was noticed, long after the last "
    "sign that the device was on.",
    to_do="Note 'last seen on' too, or state off_check_min if every device was looked at often.",
)
def last_on_missing(facts: Facts) -> Iterator[Doubt]:
    for (run, device), note in sorted(facts.off_notes.items()):
        if note.still_on or not np.isnan(note.last_on) or np.isnan(note.off):
            continue
        if facts.session.assumptions.off_check_min is not None:
            continue
        low, high = facts.windows[run].low[device], facts.windows[run].high[device]
        if high - low > LONG_WINDOW_MIN:
            yield at_power_off(
                facts,
                (run, device),
                "note",
                f"'{facts.devices[device]}' off at {facts.at(run, note.off)}, last known to be on "
                f"at {facts.at(run, low)}, {minutes(note.off - low)} before",
                "the minute last seen on, a few minutes before the minute noted off",
                "Add last_on from the footage. If somebody looked at every device at least every n "
                "minutes near the end, state off_check_min = n under [assumptions]; otherwise the "
                f"runtime is only known to within {h_min(high - low)}.",
                column="last_on" if facts.session.form == "long" else "",
            )


RULES = (
    power_off_missing,
    still_on,
    last_on_missing,
)
