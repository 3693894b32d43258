"""What every recorder says: where the day is, who is next, what the keys are.

The same sentences for the plain prompt, the full screen and the browser. State is always said in
words; colour and weight only repeat it.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from kit.read.run_dates import dates_apart
from kit.recorder.day import later
from kit.safe_text import displayable
from kit.units import joined

if TYPE_CHECKING:
    from datetime import datetime

    from kit.recorder.state import DeviceNow, Protocol, Situation
    from kit.session import Phase

__all__ = [
    "HELP",
    "device_cells",
    "phase_line",
    "prompt_line",
    "remarks",
    "row_lines",
    "time_line",
    "whose_line",
]

NEXT = "▶"
HELP = """\
91      next device shows 91 %           3 c 35.2  temperature (°C)
3 91    device 3 (place or name): 91 %   c 21.5    … of the room
x       next device found off            3 plug    on its charger
3 x     device 3 found off               3 unplug  off its charger
3 xx    it went off before my eyes       3 i …     incident, in words
3 x 2   off, it showed 2 % last          n …       note
3 t 91  display changed to 91 % now      by …      who reads
m   mm  no reading of it / of the rest   v …       evidence for the last entry
l       looked along, all others on      @ 9:05    the last entry was then
s   e   phase starts / phase ends        @ -2      … two minutes earlier
w       turn or half over, next begins   > …       note to the last entry
w end   turn over, none begins yet       u         withdraw the last entry
3 w     turn of device 3 (2+4 w: two)    y …       yes, keep it (and a note)
r       read the row now                 q         leave; all is saved
f       stopped: all others still on     ?         these keys
Any entry can end with a time and a note:   3 x @ 16:21 > sound stopped"""


def minutes(value: float) -> str:
    """Return minutes as ``51 min`` or, from an hour on, ``1 h 05 min``; never rounded up.

    Examples
    --------
    >>> minutes(51.9), minutes(65), minutes(0.4)
    ('51 min', '1 h 05 min', '0 min')
    """
    whole = int(value + 1e-9)
    return f"{whole} min" if whole < 60 else f"{whole // 60} h {whole % 60:02d} min"


def phase_line(here: Situation) -> str:
    """Return which phase runs, or which is next."""
    if here.phase is not None:
        return displayable(f"{here.phase.id}  {here.phase.label}")
    if here.step == "done":
        return "The session is complete."
    if here.following is None:
        return "All phases are over."
    before = "Before" if here.ended is None else "Pause before"
    return displayable(f"{before} {here.following.id}  {here.following.label}")


def time_line(here: Situation) -> str:
    """Return how long the phase still takes, and the turn in it."""
    parts = []
    if here.phase is not None:
        if here.left_min is None or here.planned_end is None:
            parts.append("open end")
        elif here.left_min < 0:
            over = minutes(-here.left_min)
            parts.append(f"OVER by {over}, planned to {here.planned_end:%H:%M}")
        else:
            parts.append(f"{minutes(here.left_min)} left, to {here.planned_end:%H:%M}")
    turn = here.turn
    if turn is not None and (turn.has_next or not turn.halves):
        what = "half" if turn.halves else "turn"
        if turn.ends is not None:
            parts.append(f"{what} to {turn.ends:%H:%M}")
        elif turn.next_at is not None and turn.next_at > here.now:
            parts.append(f"next {what} at {turn.next_at:%H:%M}")
    if here.look_at is not None:
        word = "LOOK NOW" if here.look_at <= here.now else f"look at {here.look_at:%H:%M}"
        parts.append(f"near empty: {word} (l)")
    return "; ".join(parts)


def whose_line(here: Situation, protocol: Protocol) -> str:
    """Return who does what in a phase with turns; "" in others."""
    turn, phase = here.turn, here.phase
    if turn is None or phase is None or phase.parts is None:
        return ""
    now = joined([protocol.label(d) for d in turn.devices]) or "nobody"
    line = f"{phase.parts[0]}: {now}"
    if turn.following:
        line += f"; next: {joined([protocol.label(d) for d in turn.following])}"
        waits = turn.next_at is not None and turn.next_at > (turn.ends or here.now)
        line += f" at {turn.next_at:%H:%M}" if waits and turn.next_at is not None else ""
    if turn.halves and not turn.rows:
        return displayable(line)
    return displayable(f"{line}; all others {phase.parts[1]}")


def prompt_line(here: Situation, protocol: Protocol) -> str:
    """Return what is to be done next, in one sentence."""
    if here.round is not None:
        device = here.device(here.round.due[0])
        what = "inside" if here.round.point == "inside" else f"{here.round.point} of"
        last = _last(device)
        place = f"{len(here.round.read) + 1} of {len(here.round.order)}"
        return displayable(
            f"READ  {device.place}  {device.label}{last}   [{what} {here.round.phase}, {place}]"
        )
    if here.step == "start" and here.following is not None:
        read = any(r.get("phase") == here.following.id for r in here.rows)
        hint = "" if read or here.ended is None else _start_hint(here, here.following)
        return displayable(f"START {here.following.label}: type s when it begins{hint}")
    if here.step == "turn":
        return _change(here)
    if here.step == "end" and here.phase is not None:
        return displayable(f"END of {here.phase.label}: type e when it is over")
    if here.step == "stop":
        on = [d.label for d in here.devices if d.state == "on"]
        return displayable(f"STOP: type f when the session is over. Not off yet: {joined(on)}")
    if here.step == "done":
        return "DONE: every device is noted off or still on. q leaves."
    return f"{_until(here)}. 3 x: device 3 off; l: looked along; ? keys"


def _start_hint(here: Situation, phase: Phase) -> str:
    """Return when the row is to be read before a phase, as planned; else how it can be."""
    after = phase.start_read_after_min
    seen = [d.soc_at for d in here.devices if d.soc_at is not None]
    if after is None or not math.isfinite(after) or not seen:
        return " (r: read the row once more)"
    return f" (read the row at {later(max(seen), after):%H:%M})"


def _change(here: Situation) -> str:
    """Return what is to be done about turns that are due."""
    turn = here.turn
    if turn is None or not turn.has_next:
        return "The turn is over: type w; none is left."
    if turn.rows and turn.next_at is not None and turn.next_at > here.now:
        what = "first half" if turn.halves else "turn"
        return f"The {what} is over: type w. The next begins at {turn.next_at:%H:%M}."
    if turn.halves:
        return "SWAP: type w when the second half begins."
    return "CHANGE turns: type w when the next begins."


def _until(here: Situation) -> str:
    """Return what comes next and when, as far as that is known: a turn, or a walk and its order."""
    turn, end = here.turn, here.planned_end
    due = None if turn is None or not turn.has_next else turn.due
    if due is not None and (end is None or due < end):
        return f"Nothing to read before {due:%H:%M}"
    if end is None or not here.next_order:
        return "Nothing to read now"
    places = [here.device(d).place for d in here.next_order]
    order = f"{places[0]} to {places[-1]}" if len(places) > 1 else f"{places[0]}"
    return f"Next reading {end:%H:%M}, {order}"


def _last(device: DeviceNow) -> str:
    if device.soc_pct is None:
        return ""
    return f", was {device.soc_pct:g} %" + _at(device.soc_at)


def _at(moment: datetime | None) -> str:
    return "" if moment is None else f" at {moment:%H:%M}"


def device_cells(device: DeviceNow, here: Situation) -> tuple[str, ...]:
    """Return a device as cells of a table."""
    state = {"on": "on", "off": "OFF", "still_on": "still on"}[device.state]
    mark = ""
    if here.round is not None and device.id in here.round.due:
        first = device.id == here.round.due[0]
        mark, state = (NEXT, "READ") if first else ("·", "to read")
    elif here.round is not None and device.id in here.round.read and device.state == "on":
        state = "read"
    when = device.off_at if device.state == "off" else device.soc_at
    return (
        mark,
        str(device.place),
        displayable(device.label),
        state,
        "" if device.soc_pct is None else f"{device.soc_pct:g} %",
        "" if when is None else f"{when:%H:%M}",
        "" if device.state == "off" else displayable(device.doing),
    )


def row_lines(here: Situation, *, width: int, height: int) -> list[str]:
    """Return the row of devices as lines of text, around the one that is next.

    Parameters
    ----------
    width, height
        Room in characters; where the row is longer, the first or last line says how many more
        devices there are.
    """
    labels = min(max((len(d.label) for d in here.devices), default=0), max(8, width - 44))
    lines = []
    at = 0
    for place, device in enumerate(here.devices):
        mark, number, label, state, soc, when, doing = device_cells(device, here)
        at = place if mark == NEXT else at
        text = f"{mark:1} {number:>2}  {label[:labels]:<{labels}}  {state:<8} {soc:>6}  {when:<5}"
        lines.append(f"{text}  {doing}"[:width])
    if len(lines) <= height or height < 3:
        return lines[: max(height, 1)]
    room = height - 2
    first = min(max(0, at - room // 2), len(lines) - room)
    above, below = first, len(lines) - first - room
    return [
        f"  … {above} more above" if above else "",
        *lines[first : first + room],
        f"  … {below} more below" if below else "",
    ]


def remarks(here: Situation, protocol: Protocol) -> tuple[str, ...]:
    """Return what should be corrected in the setup file, by what was recorded."""
    found: list[str] = []
    first = next(
        (here.moments.get(r.id) for r in here.rows if r.get("event") == "phase_start"), None
    )
    planned = protocol.date
    if planned is None and protocol.start is not None:
        planned = protocol.start.astimezone(protocol.zone).date()
    if planned is not None and first is None and not here.rows and here.now.date() != planned:
        found.append(
            f"session.toml says {planned}, today is {here.now:%Y-%m-%d}; if this is the session, "
            "correct the date there."
        )
    if planned is not None and first is not None:
        apart = dates_apart(planned, first.date())
        found += [f"session.toml says {apart}; correct the date there."] if apart else []
    start = None if protocol.start is None else protocol.start.astimezone(protocol.zone)
    same_day = first is not None and start is not None and first.date() == start.date()
    if same_day and f"{first:%H:%M}" != f"{start:%H:%M}":
        found.append(
            f"session.toml says start {start:%H:%M}, the first phase started at {first:%H:%M}; "
            "correct one of them, for runtimes count from the start."
        )
    stopped = [here.moments.get(r.id) for r in here.rows if r.get("event") == "still_on"]
    if stopped and stopped[0] is not None:
        found.append(f'session.toml: the session was stopped at {stopped[0]:%H:%M} (stop = "…").')
    return tuple(found)
