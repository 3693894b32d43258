"""Table of the hours on a mix of activities: a device a row, a mix a column."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from kit.display import Column, Table
from kit.drain.usage_mix import OWN_MIX
from kit.labels import full_name
from kit.show.cells import Names, note_long_names, place, rows_of, run_words
from kit.show.tables.drain import by_drawing
from kit.units import MISSING, NO_BREAK, estimate, interval, joined, percent

if TYPE_CHECKING:
    from kit.results import Results
    from kit.show.cells import Row

__all__ = ["mix_made_of", "mixes"]

MIN_PER_H = 60.0
MIXES_PER_TABLE = 4
"""Mixes side by side that stay readable on an A4 page; more are set in several tables."""


def mix_made_of(results: Results, mix: str) -> str:
    """Return what a mix is made of, ``map 33 %, photo 22 %``, largest share first."""
    frame = results.extra["mix_parts"]
    parts = sorted(rows_of(frame[frame["mix"] == mix]), key=lambda row: -row.share)
    return ", ".join(f"{row.activity}{NO_BREAK}{percent(round(row.share, 2))}" for row in parts)


def _hours(row: Row) -> str:
    if math.isnan(row.hours_low):
        return MISSING
    if row.at_least or not math.isfinite(row.hours_high):
        return interval(row.hours_low, math.nan, decimals=1)
    return estimate(row.hours, row.hours_low, row.hours_high, decimals=1)


def mixes(results: Results) -> tuple[Table, ...]:
    """Return the hours on every mix, with the places that each device can have on it."""
    frame = results.extra.get("mixes")
    if frame is None or not frame["hours_low"].notna().any():
        return ()
    names = Names.of(results.session)
    keys = list(dict.fromkeys(zip(frame["mix"], frame["run"], strict=True)))
    cells: dict[tuple[str, int, str], str] = {}
    for row in rows_of(frame):
        text = _hours(row)
        where = place(row.rank_best, row.rank_worst)
        tail = "" if MISSING in (text, where) else f" [{where}]"
        cells[row.mix, row.run, row.device] = text + tail
    groups = [keys[k : k + MIXES_PER_TABLE] for k in range(0, len(keys), MIXES_PER_TABLE)]
    lacking = _lacking(results, names)
    notes = (
        *(f"“{mix}”: {mix_made_of(results, mix)} of the time." for mix in frame["mix"].unique()),
        *_left_out(results),
        "In square brackets the place on that mix; a range of places is a tie.",
        *lacking,
        *by_drawing(frame),
        *note_long_names(results.session),
    )  # fmt: skip
    return tuple(
        Table(
            id="mixes" if len(groups) == 1 else f"mixes-{number}",
            caption="Hours from 100 % to power-off on a mix of activities; in brackets the "
            f"{percent(results.settings.coverage)} coverage interval"
            + (f" ({number} of {len(groups)})" if len(groups) > 1 else ""),
            columns=(
                Column(name="Device"),
                *(
                    Column(
                        name=mix + run_words(results, run), unit="h", align="right",
                        numeric_sort=True,
                    )
                    for mix, run in group
                ),
            ),
            rows=tuple(
                (name, *(cells.get((mix, run, device), MISSING) for mix, run in group))
                for device, name in names.device.items()
            ),
            notes=notes if number == len(groups) else (),
        )
        for number, group in enumerate(groups, start=1)
    )  # fmt: skip


def _hours_of(results: Results) -> dict[str, float]:
    """Return the hours of each activity in the session: phases by their length, parts by device."""
    session = results.session
    activity = {p.id: p.activity for p in session.phases if p.evaluated and not p.is_split}
    hours: dict[str, float] = {}
    for row in rows_of(session.spans):
        if activity.get(row.phase) and not math.isnan(row.duration_min):
            name = activity[row.phase]
            hours[name] = hours.get(name, 0.0) + row.duration_min / MIN_PER_H
    parts = results.parts[results.parts["device"] != ""] if len(results.parts) else results.parts
    for part, here in parts.groupby("part", sort=False):
        mean = float(here.groupby(["run", "phase"])["exposure_h"].mean().sum())
        hours[str(part)] = hours.get(str(part), 0.0) + mean
    return hours


def _left_out(results: Results) -> list[str]:
    """Return which activities the session's own mix leaves out, and how much of the time."""
    made = results.extra["mix_parts"]
    taken = set(made.loc[made["mix"] == OWN_MIX, "activity"].tolist())
    if not taken:
        return []
    hours = _hours_of(results)
    left = [name for name in hours if name not in taken]
    total = sum(hours.values())
    if not left or not total > 0.0:
        return []
    share = percent(round(sum(hours[name] for name in left) / total, 2))
    every = "every device in every run" if len(results.session.runs) > 1 else "every device"
    return [
        f"“{OWN_MIX}” leaves out {joined(full_name(name, name) for name in left)}, {share} of the "
        f"time, for want of a phase of {every} that can stand for "
        f"{'it' if len(left) == 1 else 'them'}."
    ]


def _lacking(results: Results, names: Names) -> list[str]:
    """Return which device has no figure on which mix, and for want of what."""
    frame = results.extra["mixes"]
    frame = frame[frame["missing"] != ""]
    found: dict[tuple[str, str], list[str]] = {}
    for row in rows_of(frame):
        who = found.setdefault((row.mix, row.missing), [])
        if names.device[row.device] not in who:
            who.append(names.device[row.device])
    return [
        f"Without hours on “{mix}”, for want of a phase that can stand for "
        f"{joined(missing.split(', '), 'or')}: {joined(who)}."
        for (mix, missing), who in found.items()
    ]
