"""Percentages noted with devices that were still on at the stop: readings of a phase's end."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from kit.session import columns_of

if TYPE_CHECKING:
    from kit.session import Session

__all__ = ["StopReading", "stop_readings"]

_LOCATED = ("clock", "elapsed")


class StopReading(NamedTuple):
    """What a device still on at the stop showed, as a reading at the end of a phase.

    Positions of run, device and phase; time and its resolution (min), NaN: not known.
    """

    run: int
    device: int
    phase: int
    t_min: float
    resolution_min: float
    soc_pct: float


def _ends(session: Session) -> dict[tuple[int, int], tuple[float, float, bool]]:
    """Return start, end and whether the end was noted, by positions of run and phase."""
    runs = {run.number: i for i, run in enumerate(session.runs)}
    phases = {phase.id: i for i, phase in enumerate(session.phases)}
    columns = columns_of(session.spans, "run", "phase", "start_min", "end_min", "end_source")
    return {
        (runs[run], phases[phase]): (float(start), float(end), source in _LOCATED)
        for run, phase, start, end, source in zip(*(c.tolist() for c in columns), strict=True)
        if run in runs and phase in phases
    }


def _phase_of(
    session: Session,
    ends: dict[tuple[int, int], tuple[float, float, bool]],
    place: int,
    named: int,
    t: float,
    slack: float,
) -> int:
    """Return the phase at whose end a device was looked at; −1: at that of none."""
    last = len(session.phases) - 1
    nowhere = (float("nan"), float("nan"), True)
    begun = [p for p in range(last + 1) if ends.get((place, p), nowhere)[0] < t]
    phase = named if named >= 0 else max(begun, default=-1)
    _, end, noted = ends.get((place, phase), nowhere)
    if abs(t - end) <= slack:
        return phase
    stop = session.runs[place].stop_min
    if stop is None or phase != last or noted or not stop > end:
        return -1
    # time that nobody logged lies before this phase: its end is the stop
    return phase if abs(t - stop) <= slack else -1


def stop_readings(session: Session) -> list[StopReading]:
    """Return the percentages of rows ``still_on`` that stand for the end of a phase.

    Parameters
    ----------
    session
        A record that passed its checks.

    Returns
    -------
    list of StopReading
        The phase is the one named in the row, else the one begun last by then. A look further from
        its end than the delay of a reading and the step of the time noted stands for nothing: what
        the device did in between is not known. Nor does one beside a reading of that end.

    Examples
    --------
    Still on with 40 % as the phase ends; in a phase that goes on for half an hour, not:

    >>> from tests.helpers.builders import make_session
    >>> for end in (60, 90):
    ...     s = make_session(phases={"p1": end}, devices=["a"], start=None,
    ...                      still_on={"a": 60.0}, more_readings=[
    ...                          {"device": "a", "phase": "p1", "point": "start", "soc_pct": 99}])
    ...     s.power_offs["soc_pct"] = 40.0
    ...     print([(r.phase, r.t_min, r.soc_pct) for r in stop_readings(s)])
    [(0, 60.0, 40.0)]
    []
    """
    columns = columns_of(
        session.power_offs, "still_on", "soc_pct", "run", "device", "phase", "noted_min",
        "last_on_min", "t_resolution_min",
    )  # fmt: skip
    rows = zip(*(column.tolist() for column in columns), strict=True)
    looks = [(soc, *row) for on, soc, *row in rows if on and soc == soc]
    if not looks:
        return []
    runs = {run.number: i for i, run in enumerate(session.runs)}
    devices = {device.id: i for i, device in enumerate(session.devices)}
    phases = {phase.id: i for i, phase in enumerate(session.phases)}
    ends = _ends(session)
    delay = session.assumptions.reading_delay_min
    found = []
    for soc, run, device, name, noted, last_on, step in looks:
        if run not in runs or device not in devices:
            continue
        t = last_on if last_on == last_on else noted
        place, slack = runs[run], delay + (step if step == step else 1.0)
        phase = _phase_of(session, ends, place, phases.get(name, -1), t, slack)
        if phase >= 0:
            found.append(StopReading(place, devices[device], phase, t, step, soc))
    return _without_readings(session, found) if found else []


def _without_readings(session: Session, found: list[StopReading]) -> list[StopReading]:
    """Return those beside which no reading of that end was noted."""
    columns = columns_of(session.readings, "run", "device", "phase", "point")
    read = set(zip(*(column.tolist() for column in columns), strict=True))
    return [
        one
        for one in found
        if (
            session.runs[one.run].number,
            session.devices[one.device].id,
            session.phases[one.phase].id,
            "end",
        )
        not in read
    ]
