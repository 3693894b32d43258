"""Sentences on what is read between the boundaries: evenness, repeated phases, ticks."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kit.show.cells import Names, of_run, rows_of
from kit.units import PLUS_MINUS, count, estimate, joined, number, quantity

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    import pandas as pd

    from kit.results import Results
    from kit.session import GaugeCounts

__all__ = ["evenness", "gauge_shapes", "repeated_phases", "runtime_ticks_gained", "ticks_gained"]

_HALF = 0.5


def repeated_phases(results: Results) -> tuple[str, ...]:
    """Return what repeated activities say about gauge and activity, one sentence an activity."""
    frame = results.extra.get("reference_repeats")
    if frame is None or frame.empty:
        return ()
    names = Names.of(results.session)
    counts = {d.id: d.gauge.counts for d in results.session.devices}
    told = _whose_verdicts(frame, names)
    activities = joined(f"“{a}”" for a in dict.fromkeys(frame["activity"]))
    text = (
        f"Done early and again late: {activities}. The work was the same, so what the display did "
        "otherwise the second time is the shape of its gauge. At the same power a gauge that "
        "counts charge falls faster towards empty, one that counts energy does not."
    )
    words = {
        "charge": "agrees with counting charge",
        "energy": "agrees with counting energy",
        "neither": "agrees with neither",
        "cannot_tell": "is too uncertain to tell",
    }
    verdicts = "; ".join(f"{words.get(v, v)} for {joined(who)}" for v, who in told.items())
    if len(frame) == 1:
        row = next(rows_of(frame).__iter__())
        ratio = estimate(row.ratio, row.ratio_low, row.ratio_high, decimals=2)
        verdicts = f"{verdicts}: the display fell {ratio} times as fast"
    used = " ".join((*_contradicted(frame, names, counts), *_assumed(frame, names, counts)))
    return (text, f"What was read {verdicts}. {used}")


def _whose_verdicts(frame: pd.DataFrame, names: Names) -> dict[str, list[str]]:
    """Return the devices of each verdict; activity and run where those of a device disagree."""
    told: dict[str, dict[str, dict[str, list[str]]]] = {}
    for row in rows_of(frame):
        mine = told.setdefault(row.verdict, {}).setdefault(row.device, {})
        mine.setdefault(row.activity, []).append(str(row.run))
    runs, activities = (frame.groupby("device")[c].nunique() for c in ("run", "activity"))
    open_to_doubt = frame.groupby("device")["verdict"].nunique() > 1

    def whose(device: str, found: Mapping[str, list[str]]) -> str:
        if not open_to_doubt[device]:
            return names.device[device]
        places = []
        for activity, rows in found.items():
            seen = list(dict.fromkeys(rows))
            place = f" with “{activity}”" if activities[device] > 1 else ""
            if runs[device] > 1:
                place += f" in run{'s' if len(seen) > 1 else ''} {joined(seen)}"
            places.append(place.removeprefix(" "))
        return f"{names.device[device]} {joined(places)}"

    return {
        verdict: [whose(device, found) for device, found in who.items()]
        for verdict, who in told.items()
    }


def _contradicted(
    frame: pd.DataFrame, names: Names, counts: Mapping[str, GaugeCounts]
) -> Iterator[str]:
    """Yield whose gauge is stated to count what its repeated phase speaks against."""
    for stated in ("charge", "energy"):
        against = dict.fromkeys(
            names.device[row.device]
            for row in rows_of(frame)
            if counts[row.device] == stated and row.verdict not in (stated, "cannot_tell")
        )
        if against:
            yield (
                f"That contradicts the setup file, which has the gauge of {joined(against)} count "
                f"{stated}: one of the two is wrong, or the work was not the same."
            )


def _assumed(frame: pd.DataFrame, names: Names, counts: Mapping[str, GaugeCounts]) -> Iterator[str]:
    """Yield for whom hours, energy and power use what, in place of the half-way assumption."""
    sharper: list[str] = []
    stated: list[str] = []
    kept: list[str] = []
    for device, mine in frame.groupby("device", sort=False):
        half = (mine["charge_share_high"] - mine["charge_share_low"]).min() / 2.0
        if counts[str(device)] == "energy":
            stated.append(names.device[str(device)])
        else:
            (sharper if half < _HALF else kept).append(names.device[str(device)])
    if sharper:
        whom = joined(sharper)
        yield f"It replaces the half-way assumption in hours, energy and power for {whom}."
    if kept:
        whose = f" of {joined(kept)}" if sharper or stated else ""
        so = "" if sharper or stated else "So "
        yield (
            f"{so}{'h' if so else 'H'}ours, energy and power keep the half-way assumption about "
            f"the gauge{whose}."
        )
    if stated:
        yield f"None is made for {joined(stated)}, stated to count energy."


SHAPE_WORDS = {
    "charge": "counts charge",
    "energy": "counts energy",
    "neither": "does neither alone",
}


def gauge_shapes(results: Results) -> tuple[str, ...]:
    """Return what each gauge counts by its own steps; empty without dense readings."""
    frame = results.extra.get("gauge_shape")
    if frame is None or frame.empty:
        return ()
    names = Names.of(results.session)
    several = len(results.session.runs) > 1
    total = len(results.session.phases)
    text = (
        "Under a constant load the display of a gauge that counts energy falls evenly, that of one "
        "that counts charge faster towards empty. The time from one change of the display to the "
        "next says which. Of each device all phases are taken together, each with a rate of its "
        "own, that can be one steady load: with changes enough, and without a power saver, "
        "charging or start-up work. A load that grew or faded within its phase would look the same."
    )
    used = set(frame["phases"].tolist())
    alike = len(used) == 1
    if alike and max(used) < total:
        each = " of each" if frame["device"].nunique() > 1 else ""
        text += f" Here that is {max(used)} of {total} phases{each}."
    found, open_ = [], []
    for row in rows_of(frame):
        who = names.device[row.device] + (f" in run {row.run}" if several else "")
        of_all = "" if alike else f" in {row.phases} of {total} phases"
        if row.verdict == "cannot_tell":
            open_.append(who + of_all)
            continue
        share = estimate(row.share, row.share_low, row.share_high, decimals=2)
        span = f"{number(row.level_high_pct)} to {quantity(row.level_low_pct, '%')}"
        found.append(
            f"{who}: {share} of that effect ({count(row.changes, 'change')}{of_all}, {span}), so "
            f"the gauge {SHAPE_WORDS[row.verdict]}"
        )
    if open_:
        found.append(f"too uncertain to tell for {joined(dict.fromkeys(open_))}")
    told = "; ".join(found)
    return text, f"{told[:1].upper()}{told[1:]}."


def evenness(results: Results, run: int) -> str:
    """Return in which phases a device did not drain evenly; empty without dense readings."""
    frame = results.extra.get("within_phase")
    if frame is None or frame.empty:
        return ""
    frame = of_run(frame, run)
    judged = frame[frame["verdict"] != "too_few"]
    if judged.empty:
        return ""
    names = Names.of(results.session)
    uneven = [r for r in rows_of(judged) if r.verdict != "even"]
    where = f"{len(judged)} phases of a device" if len(judged) > 1 else "one phase"
    start = f"The changes of the display are dense enough to compare the halves of {where}"
    if not uneven:
        return f"{start}: each drained evenly, as far as can be told."
    listed = joined(
        f"{names.device[r.device]} in “{names.phase[r.phase]}” ({r.verdict} in the second half)"
        for r in uneven
    )
    return (
        f"{start}. Not even: {listed}. That may be work that changed, a power saver, or a gauge "
        "that is not straight there; the rest drained evenly, as far as can be told."
    )


def ticks_gained(results: Results) -> str:
    """Return what changes of the display gained over readings; empty where none was used."""
    frame = results.extra.get("tick_gain")
    if frame is None or frame.empty:
        return ""
    both = frame.dropna(subset=["half_width_pp", "half_width_without_pp"])
    only = len(frame) - len(both)
    noted = (results.session.readings["kind"] == "tick").any()
    what = "noted changes of the display" if noted else "changes of the display in the dense log"
    parts = []
    if len(both):
        before, after = (
            float(both[name].median()) for name in ("half_width_without_pp", "half_width_pp")
        )
        parts.append(
            f"{count(len(both), 'displayed drain')} sharper, in the middle from {PLUS_MINUS}"
            f"{number(before, 2)} to {PLUS_MINUS}{quantity(after, 'pp', 2)}"
        )
    if only:
        parts.append(f"{count(only, 'drain')} possible that readings alone would not give")
    return f"The {what} made {joined(parts)}."


def runtime_ticks_gained(results: Results) -> str:
    """Return what noted changes of the display gained for runtimes; empty where nothing."""
    frame = results.extra.get("runtime_tick_gain")
    if frame is None or frame.empty:
        return ""
    windows = frame.dropna(subset=["window_min", "window_without_min"])
    parts = []
    if len(windows):
        before, after = (
            float(windows[name].median()) for name in ("window_without_min", "window_min")
        )
        parts.append(
            f"the window of {count(len(windows), 'power-off')} is narrower, in the middle "
            f"{quantity(after, 'min')} in place of {number(before)}"
        )
    others = len(frame) - len(windows)
    if others:
        parts.append(f"{count(others, 'runtime')} without a noted end known to be longer")
    text = (
        "A noted change of the display shows that the device was on. By changes that were noted "
        f"after the last reading, {joined(parts)}"
    )
    pairs = int(frame["longer_than"].sum())
    if pairs:
        text += f"; the order of {count(pairs, 'pair')} stands only by them"
    return f"{text}."
