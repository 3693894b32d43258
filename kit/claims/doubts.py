"""Which numbers of a record are put in question, and what each may have been instead."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from kit.claims.misreadings import minute_slips, percentage_slips
from kit.drain.last_seen import MINUTE
from kit.session import columns_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from kit.claims.evidence import Evidence
    from kit.claims.misreadings import Slip
    from kit.drain.chains import Chains
    from kit.drain.phases import Prepared
    from kit.drain.swaps import Swaps
    from kit.session import Session

    Floats = NDArray[np.float64]

__all__ = ["Doubt", "off_doubts", "reading_doubts", "seen_doubts", "stop_doubts", "swap_doubts"]

_SEEN_ON = "last seen on"
"""How a power-off is known where the last look at it was noted with it."""

_OFF_COLUMNS = ("last_on_min", "first_off_min", "noted_min")


class Doubt(NamedTuple):
    """One number put in question: where it stands in the record, and what it may have been."""

    run: int
    frame: str
    row: int
    column: str
    device: int
    boundary: int
    noted: float
    slip: Slip


def _neighbours(chains: Chains) -> tuple[Floats, Floats]:
    """Return for each row of the readings what its display showed next before and after.

    After the last one that is what was noted of the power-off, where that was seen.
    """
    session, obs = chains.session, chains.observed
    rows = len(session.readings)
    before, after = np.full(rows, 100.0), np.zeros(rows)
    t = obs.t
    if np.isnan(t).any():
        spans = session.spans
        starts = dict(zip(zip(spans["run"].tolist(), spans["phase"].tolist(), strict=True),
                          zip(spans["start_min"].tolist(), spans["end_min"].tolist(), strict=True),
                          strict=True))  # fmt: skip
        n = len(session.devices)
        t = t.copy()
        for i in np.flatnonzero(np.isnan(t)).tolist():
            run = session.runs[int(obs.unit[i]) // n].number
            phase = session.phases[int(obs.phase[i])].id if obs.phase[i] >= 0 else ""
            ends = starts.get((run, phase), (np.nan, np.nan))
            t[i] = ends[1] if obs.point[i] == 1 else ends[0]
    order = np.lexsort((obs.row, np.nan_to_num(t, nan=np.inf), obs.unit))
    order = order[obs.row[order] >= 0]
    unit, soc, row = obs.unit[order], obs.soc[order], obs.row[order]
    same = unit[1:] == unit[:-1]
    before[row[1:][same]] = soc[:-1][same]
    after[row[:-1][same]] = soc[1:][same]
    last = np.append(~same, np.ones(min(unit.size, 1), dtype=bool))
    after[row[last]] = _last_shown(session)[unit[last]]
    return before, after


def _last_shown(session: Session) -> Floats:
    """Return what was seen of each unit's display at its power-off or at the stop; 0: nothing."""
    shown = np.zeros(len(session.runs) * len(session.devices))
    runs = {run.number: i for i, run in enumerate(session.runs)}
    devices = {device.id: k for k, device in enumerate(session.devices)}
    columns = columns_of(session.power_offs, "run", "device", "soc_pct")
    for run, device, soc in zip(*(column.tolist() for column in columns), strict=True):
        if run in runs and device in devices and soc == soc:
            shown[runs[run] * len(devices) + devices[device]] = soc
    return shown


def reading_doubts(ready: Prepared, run: int) -> list[Doubt]:
    """Return the doubts about percentages that stand for a phase boundary.

    Parameters
    ----------
    ready
        From `kit.drain.phases.prepare`.
    run
        Position of the run, from 0.
    """
    session, obs = ready.chains.session, ready.chains.observations
    before, after = _neighbours(ready.chains)
    soc = session.readings["soc_pct"].to_numpy(dtype=np.float64)
    noted_tick = np.append(session.readings["kind"].to_numpy() == "tick", False)
    # the display of one that was charged may rise
    charged = ready.chains.off_times[run].charged.tolist()
    n = len(session.devices)
    doubts = []
    for k, free in enumerate(charged):
        unit = run * n + k
        rows = obs.row[unit]
        own = (obs.node[unit] == np.arange(rows.size)) & (rows >= 0)
        # a change of the display seen between two readings: one of them misread moves it by moments
        own &= (obs.weight[unit] > 0.0) | noted_tick[rows]
        for boundary in np.flatnonzero(own).tolist():
            row = int(rows[boundary])
            low, high = (0.0, 100.0) if free else (float(after[row]), float(before[row]))
            for slip in percentage_slips(float(soc[row]), low=low, high=high):
                noted = float(soc[row])
                doubts.append(Doubt(run, "readings", row, "soc_pct", k, boundary, noted, slip))
    return doubts


def swap_doubts(ready: Prepared, run: int, swaps: Swaps) -> list[Doubt]:
    """Return the doubts about percentages read at the swap of a crossover.

    Parameters
    ----------
    ready, run
        As for `reading_doubts`.
    swaps
        From `kit.drain.swaps.with_swaps`. One that stands for a boundary, too, is left out.
    """
    session, chains = ready.chains.session, ready.chains
    n = len(session.devices)
    found = {at: unit for (unit, _), at in swaps.rows.items() if at >= 0 and unit // n == run}
    if not found:
        return []
    before, after = _neighbours(chains)
    soc, rows = chains.observed.soc, chains.observed.row
    doubts = []
    for at, unit in found.items():
        row, noted = int(rows[at]), float(soc[at])
        if row < 0 or (chains.observations.row[unit] == row).any():
            continue
        for slip in percentage_slips(noted, low=float(after[row]), high=float(before[row])):
            doubts.append(Doubt(run, "readings", row, "soc_pct", unit % n, -1, noted, slip))
    return doubts


def stop_doubts(ready: Prepared, run: int) -> list[Doubt]:
    """Return the doubts about percentages seen at the stop that stand for the end of a phase.

    Parameters
    ----------
    ready, run
        As for `reading_doubts`.
    """
    session, obs = ready.chains.session, ready.chains.observed
    n = len(session.devices)
    looks = np.flatnonzero((obs.row < 0) & (obs.unit // n == run))
    if not looks.size:
        return []
    offs = session.power_offs
    rows = {
        device: row
        for row, (number, device, on) in enumerate(
            zip(*(offs[c].tolist() for c in ("run", "device", "still_on")), strict=True)
        )
        if number == session.runs[run].number and on
    }
    found = ready.chains.observations
    doubts = []
    for at in looks.tolist():
        unit, boundary = int(obs.unit[at]), int(2 * obs.phase[at] + obs.point[at])
        if found.row[unit, boundary] >= 0 or found.node[unit, boundary] != boundary:
            continue
        k, noted = unit % n, float(obs.soc[at])
        before = obs.soc[(obs.unit == unit) & (obs.row >= 0)]
        for slip in percentage_slips(noted, high=float(before.min(initial=100.0))):
            row = rows[session.devices[k].id]
            doubts.append(Doubt(run, "power_offs", row, "soc_pct", k, boundary, noted, slip))
    return doubts


def _last_reading_min(chains: Chains, run: int) -> dict[str, float]:
    """Return when each device was last read (min), where the time was noted."""
    obs, n = chains.observed, len(chains.devices)
    timed = ~np.isnan(obs.t) & (obs.unit // n == run)
    latest = np.full(n, -np.inf)
    np.maximum.at(latest, obs.unit[timed] % n, obs.t[timed])
    return {d: t for d, t in zip(chains.devices, latest.tolist(), strict=True) if t > -np.inf}


def seen_doubts(ready: Prepared, run: int) -> list[Doubt]:
    """Return the doubts about the times of readings that bound a power-off from below.

    Parameters
    ----------
    ready, run
        As for `reading_doubts`. A reading without a time of its own is left out.
    """
    session, obs = ready.chains.session, ready.chains.observed
    offs, number = ready.chains.off_times[run], session.runs[run]
    past_hour = 0.0
    if number.start is not None:
        past_hour = number.start.minute + number.start.second / 60.0
    noted = session.readings["t_min"].to_numpy(dtype=np.float64)
    doubts = []
    for k, (status, basis) in enumerate(zip(offs.status, offs.basis, strict=True)):
        if status != "observed" or not basis.startswith("last ") or basis.startswith(_SEEN_ON):
            continue
        mine = np.flatnonzero(
            (obs.unit == run * len(session.devices) + k) & (obs.t <= offs.high[k]) & (obs.row >= 0)
        )
        if not mine.size:
            continue
        t = obs.t[mine]
        row = int(obs.row[mine[np.flatnonzero(t == t.max())[-1]]])
        if noted[row] != noted[row]:
            continue
        before = t[t < t.max()]
        slips = minute_slips(
            float(noted[row]), start_minute=past_hour,
            low=float(before.max(initial=0.0)), high=float(offs.high[k]) - MINUTE,
        )  # fmt: skip
        doubts += [
            Doubt(run, "readings", row, "t_min", k, -1, float(noted[row]), slip) for slip in slips
        ]
    return doubts


def off_doubts(ready: Prepared, place: int, found: Evidence) -> list[Doubt]:
    """Return the doubts about noted times of power-offs.

    Parameters
    ----------
    ready
        From `kit.drain.phases.prepare`.
    place
        Position of the run, from 0.
    found
        Of that run, from `kit.claims.evidence.evidence`.
    """
    session = ready.chains.session
    offs, run = session.power_offs, session.runs[place]
    start = run.start
    last = _last_reading_min(ready.chains, place)
    past_hour = 0.0 if start is None else start.minute + start.second / 60.0
    doubts = []
    columns = [offs[c].tolist() for c in ("run", "device", *_OFF_COLUMNS)]
    for row, (number_, device, *times) in enumerate(zip(*columns, strict=True)):
        if number_ != run.number or device not in found.devices:
            continue
        known = dict(zip(_OFF_COLUMNS, times, strict=True))
        k = found.devices.index(device)
        for column in _OFF_COLUMNS:
            noted = known[column]
            if noted != noted or (column == "noted_min" and known["first_off_min"] == noted):
                continue
            # nobody looked after the stop
            stop = np.inf if run.stop_min is None else run.stop_min
            low, high = 0.0, max(stop, noted)
            if column == "last_on_min":
                ends = (known["first_off_min"], known["noted_min"])
                high = next((v for v in ends if v == v), high)
            else:
                seen = [v for v in (known["last_on_min"], last.get(device)) if v and v == v]
                low = max([low, *seen])
            doubts += [
                Doubt(place, "power_offs", row, column, k, -1, noted, slip)
                for slip in minute_slips(noted, start_minute=past_hour, low=low, high=high)
            ]
    return doubts
