"""The only reader of a plan file (``plan.toml``).

A plan file is a setup file of a session that has not taken place, with a few tables and keys of
its own: ``[plan]``, ``[[limits]]``, ``[[breaks]]``, ``[[people]]``, per device
``reading_seconds`` and ``forecast``, per phase ``setup_min``, ``change_min``, ``assignment``,
``seed`` and ``first``. What the two have in common is read by `kit.read.setup_file`. Every fault is
a finding with key and line, all of them at once. docs/planning.md lists the keys.
"""

from __future__ import annotations

import tomllib
from dataclasses import replace
from datetime import datetime, time, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, cast, get_args
from zoneinfo import ZoneInfo

from kit.errors import Finding, RecordError, UsageError
from kit.plan.checks import check_plan
from kit.plan.planned import (
    Break,
    DeviceForecast,
    Limit,
    NextPhase,
    Person,
    PhasePlan,
    Plan,
    ReadAt,
)
from kit.plan.schedules import Assignment
from kit.read.cells import hint, quoted
from kit.read.setup_file import Setup, setup_of
from kit.read.toml_table import Notes, Table, key_lines

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import date

    from kit.read.setup_file import ClockTime
    from kit.session import Device, Phase

__all__ = ["PLAN_KEYS", "parse_plan", "read_plan"]

PLAN_KEYS: Mapping[str, tuple[str, ...]] = {
    "": ("plan", "limits", "breaks", "people"),
    "devices": ("reading_seconds", "forecast"),
    "phases": ("setup_min", "change_min", "assignment", "seed", "first"),
}
"""Keys that a plan file has beyond those of a setup file, by the table they stand in."""

READING_SECONDS = 10.0
"""Time to read and note one percentage when the plan does not say (s); common practice, no
source."""
ANY_DAY = datetime(2000, 1, 3)
DAY_MIN = 24 * 60.0


def read_plan(path: str | Path) -> tuple[Plan, tuple[Finding, ...]]:
    """Read a plan file, and the rates of the earlier sessions it names.

    Returns
    -------
    plan
        The plan, fit for `kit.plan.timetable.timetable`.
    findings
        Cautions and notes.

    Raises
    ------
    RecordError
        If anything is wrong with the plan; it carries all findings.
    UsageError
        If the file cannot be read.
    """
    file = Path(path)
    try:
        data = file.read_bytes()
    except OSError as error:
        message = f"{quoted(str(path))} cannot be read: {error.strerror}"
        raise UsageError(message) from error
    plan, findings = parse_plan(data, file.name)
    if plan is None:
        raise RecordError(findings, subject="plan")
    if plan.earlier:
        from kit.plan.earlier import with_earlier

        plan, more = with_earlier(plan, file.parent, file.name)
        findings = (*findings, *more)
    if any(f.severity == "error" for f in findings):
        raise RecordError(findings, subject="plan")
    return plan, findings


def parse_plan(data: bytes, file: str) -> tuple[Plan | None, tuple[Finding, ...]]:
    r"""Read the bytes of a plan file; earlier sessions are not opened.

    Returns
    -------
    plan
        ``None`` if anything is wrong.
    findings
        All that was found, errors among them.

    Examples
    --------
    >>> plan, findings = parse_plan(b'[session]\nid = "day1"\n[plan]\nread_at = "never"\n', "p")
    >>> plan is None, findings[0].where
    (True, 'p, line 4, column plan.read_at')
    """
    notes = Notes(file, {}, PLAN_KEYS)
    try:
        text = data.decode("utf-8-sig").replace("\r\n", "\n")
        content = tomllib.loads(text)
    except UnicodeDecodeError as error:
        notes.findings.append(
            Finding(
                rule="setup-encoding", severity="error", file=file,
                line=data.count(b"\n", 0, error.start) + 1,
                found=f"byte 0x{data[error.start]:02x}, which is no UTF-8",
                expected="text in UTF-8", remedy="Save the file with the encoding UTF-8.",
            )
        )  # fmt: skip
        return None, tuple(notes.findings)
    except (tomllib.TOMLDecodeError, ValueError, RecursionError) as error:
        notes.tell_syntax(str(error))
        return None, tuple(notes.findings)
    notes.lines = key_lines(text)
    _lend_halves(content)
    top = Table(content, "", notes)
    setup = setup_of(top)
    plan = _Reader(top, setup).plan()
    top.finish()
    if any(f.severity == "error" for f in notes.findings):
        return None, tuple(notes.findings)
    return plan, tuple(notes.findings)


LENT = "first_half"


def _lend_halves(content: dict[str, object]) -> None:
    """Give a crossover without halves one to be read with; the plan forms them later."""
    devices, phases = content.get("devices"), content.get("phases")
    if not isinstance(devices, list) or not isinstance(phases, list):
        return
    ids = [d.get("id") for d in devices if isinstance(d, dict)]
    for phase in phases:
        if isinstance(phase, dict) and phase.get("kind") == "crossover" and LENT not in phase:
            phase[LENT] = _Lent(i.strip() for i in ids[:1] if isinstance(i, str))


class _Lent(list[str]):
    """A half that the file does not name."""


class _Reader:
    """Reads what a plan file has beyond a setup file, and checks the whole."""

    def __init__(self, top: Table, setup: Setup) -> None:
        self.top = top
        self.setup = setup
        self.notes = top.notes
        self.ids = [d.id for d in setup.devices]
        self.activities = list(
            dict.fromkeys(
                name for p in setup.phases for name in (p.activity, *(p.parts or ())) if name
            )
        )
        self.general = top.table("plan")
        self.between = self.general.text("between")

    def plan(self) -> Plan | None:
        setup = self.setup
        start = self._start()
        general = self.general
        breaks = self._breaks()
        seconds = general.number("reading_seconds", low=0.5, high=600, unit="s")
        known_to = general.number("known_to_min", low=0.1, high=120, unit="min")
        coverage = general.number("coverage", low=0.5, high=0.999)
        resolve = general.number("resolve_to_pct", low=1, high=100, unit="%")
        alternate = general.flag("alternate")
        plan = Plan(
            id=setup.id or "plan",
            title=setup.title or setup.id or "Plan",
            date=setup.date,
            timezone=setup.timezone,
            operator=setup.operator,
            notes=setup.notes,
            start=start,
            devices=_in_row(setup.devices),
            phases=self._phases(),
            phase_plans=self._phase_plans(),
            limits=self._limits(),
            breaks=breaks,
            between=self.between,
            people=self._people(start),
            conditions=setup.conditions,
            assumptions=setup.assumptions,
            mixes=setup.mixes,
            declared_comparison=setup.declared_comparison,
            reading_seconds=self._reading_seconds(seconds or READING_SECONDS),
            read_at=cast("ReadAt", general.choice("read_at", get_args(ReadAt), "start_and_end")),
            next_phase=cast(
                "NextPhase", general.choice("next_phase", get_args(NextPhase), "after_walk")
            ),
            alternate=alternate is not False,
            known_to_min=known_to or 3.0,
            coverage=coverage or 0.90,
            resolve_to_pct=resolve or 25.0,
            forecasts=self._forecasts([self.between, *(b.activity for b in breaks)]),
            earlier=general.texts("earlier"),
            stop_min=self._stop(start),
        )
        general.finish()
        check_plan(plan, self.notes)
        return plan

    # ------------------------------------------------------------- times

    def _moment(self, clock: ClockTime, day: date | None) -> datetime:
        base = ANY_DAY if day is None else datetime.combine(day, time())
        if clock.day is not None:
            base = datetime.combine(datetime.fromordinal(clock.day).date(), time())
        moment = base + timedelta(seconds=clock.second)
        return moment.replace(tzinfo=ZoneInfo(self.setup.timezone)) if (
            self.setup.timezone
        ) else moment  # fmt: skip

    def _start(self) -> datetime | None:
        clock = self.setup.runs[0].start
        return None if clock is None else self._moment(clock, self.setup.date)

    def _since(self, start: datetime, clock: ClockTime) -> float:
        """Return minutes from the start to a time of day, over midnight if need be."""
        moment = self._moment(clock, start.date())
        while clock.day is None and moment < start:
            moment += timedelta(days=1)
        if start.tzinfo is not None:
            return (moment.timestamp() - start.timestamp()) / 60.0
        return (moment - start).total_seconds() / 60.0

    def _stop(self, start: datetime | None) -> float | None:
        clock = self.setup.runs[0].stop
        if clock is None:
            return None
        if start is None:
            self._tell(
                "plan-start", "session.stop", "a stop by the clock, and no start",
                "both or neither", "Give session.start too.",
            )  # fmt: skip
            return None
        return self._since(start, clock)

    # ------------------------------------------------------------- tables

    def _tell(self, rule: str, path: str, found: str, expected: str, remedy: str) -> None:
        self.notes.add(rule, path, found=found, expected=expected, remedy=remedy)

    def _phases(self) -> tuple[Phase, ...]:
        """Return the phases; halves that were only lent are taken back."""
        raw = self.top.data.get("phases")
        lent = {
            str(p.get("id")).strip()
            for p in (raw if isinstance(raw, list) else [])
            if isinstance(p, dict) and isinstance(p.get(LENT), _Lent)
        }
        return tuple(replace(p, first_half=()) if p.id in lent else p for p in self.setup.phases)

    def _named(self, table: Table, name: str, known: Sequence[str], what: str) -> str:
        """Return a name that must be one of those known; "" if it is not."""
        value = table.text(name)
        if value in known:
            return value
        table.wrong(
            name, f"the {what}: one of {', '.join(known) or 'none is there'}",
            f"Correct the name.{hint(value, known)}", rule="plan-name",
        )  # fmt: skip
        return ""

    def _limits(self) -> tuple[Limit, ...]:
        limits: list[Limit] = []
        for table in self.top.tables("limits"):
            activity = self._named(
                table, "activity", self.activities, "activity of a phase that is limited"
            )
            at_once = table.whole("at_once")
            if not table.has("at_once"):
                table.wrong(
                    "at_once", "how many devices can do it at once", "Write at_once = 5.",
                    rule="plan-limit",
                )  # fmt: skip
            reason = table.text("reason")
            table.finish()
            if activity and at_once:
                limits.append(Limit(activity=activity, at_once=at_once, reason=reason))
        return tuple(limits)

    def _breaks(self) -> tuple[Break, ...]:
        breaks: list[Break] = []
        known = [p.id for p in self.setup.phases[:-1]]
        for table in self.top.tables("breaks"):
            after = self._named(table, "after", known, "phase before the break, not the last")
            if after and after in {b.after for b in breaks}:
                table.wrong("after", "one break after a phase", "Join the two breaks.",
                            rule="plan-break")  # fmt: skip
            minutes = table.number("minutes", low=1, high=DAY_MIN, unit="min")
            if minutes is None and not table.has("minutes"):
                table.wrong("minutes", "the length of the break (min)", "Write minutes = 30.",
                            rule="plan-break")  # fmt: skip
            pause = Break(after=after, minutes=minutes or 1.0, label=table.text("label") or "Break",
                activity=table.text("activity"))  # fmt: skip
            table.finish()
            if after:
                breaks.append(pause)
        return tuple(breaks)

    def _people(self, start: datetime | None) -> tuple[Person, ...]:
        from kit.read.setup_file import clock_of

        people: list[Person] = []
        for table in self.top.tables("people"):
            name, task = table.text("name"), table.text("task")
            if not name:
                table.wrong("name", "a name or initials", 'Write name = "…".', rule="plan-people")
            bounds = []
            for key in ("from", "to"):
                clock = clock_of(table, key)
                if clock is None and not table.has(key):
                    table.wrong(key, 'a time of day such as "08:00"', f'Write {key} = "08:00".',
                                rule="plan-people")  # fmt: skip
                bounds.append(clock)
            table.finish()
            if start is None:
                self._tell(
                    "plan-start", table.path, "times of the day, and no start of the session",
                    "session.start", "Give session.start, or leave [[people]] out.",
                )  # fmt: skip
            elif bounds[0] and bounds[1]:
                people.append(self._person(start, name, task, bounds[0], bounds[1]))
        return tuple(people)

    def _person(
        self, start: datetime, name: str, task: str, begins: ClockTime, ends: ClockTime
    ) -> Person:
        to_min = self._since(start, ends)
        from_min = self._since(start, begins)
        if from_min > to_min:
            from_min -= DAY_MIN  # was there before the start
        return Person(name=name, task=task, from_min=from_min, to_min=to_min)

    def _tables(self, name: str) -> Sequence[tuple[str, Table]]:
        """Return (id, table) of devices or phases that have an id."""
        raw = self.top.data.get(name)
        tables = self.top.tables(name) if isinstance(raw, list) else []
        return [(str(t.data.get("id", "")).strip(), t) for t in tables]

    def _reading_seconds(self, usual: float) -> dict[str, float]:
        return {
            name: table.number("reading_seconds", low=0.5, high=600, unit="s") or usual
            for name, table in self._tables("devices")
        }

    def _phase_plans(self) -> dict[str, PhasePlan]:
        plans: dict[str, PhasePlan] = {}
        for name, table in self._tables("phases"):
            change = table.number("change_min", low=0, high=DAY_MIN, unit="min")
            first = table.texts("first")
            for device in first:
                if device not in self.ids:
                    self._tell(
                        "plan-name", table.key("first"), f"the device {quoted(device)}",
                        f"ids of [[devices]]: {', '.join(self.ids)}",
                        "Correct the id." + hint(device, self.ids),
                    )  # fmt: skip
            plans[name] = PhasePlan(
                setup_min=table.number("setup_min", low=0, high=DAY_MIN, unit="min") or 0.0,
                change_min=change,
                assignment=cast(
                    "Assignment", table.choice("assignment", get_args(Assignment), "row")
                ),
                seed=table.whole("seed", low=0) or 0,
                first=first,
            )
        return plans

    def _forecasts(self, also: Sequence[str]) -> dict[str, DeviceForecast]:
        forecasts: dict[str, DeviceForecast] = {}
        known = list(dict.fromkeys((*self.activities, *filter(None, also))))
        energy = {d.id: d.rated_energy_wh for d in self.setup.devices}
        for name, device in self._tables("devices"):
            table = device.table("forecast")
            rates = self._by_activity(
                table.table("rates_pp_per_h"), known, high=2000.0, unit="pp/h"
            )
            power = self._by_activity(table.table("power_w"), known, high=10_000.0, unit="W")
            rates_u = table.number("rates_u_pct", low=0, high=100, unit="%")
            power_u = table.number("power_u_pct", low=0, high=100, unit="%")
            runs = table.whole("rates_runs")
            table.finish()
            if power and energy.get(name) is None:
                self._tell(
                    "plan-forecast", table.key("power_w"), "a power, and no rated energy",
                    "rated_energy_wh of the device, to turn watts into percent per hour",
                    "Give rated_energy_wh, or rates_pp_per_h in place of the power.",
                )  # fmt: skip
            forecasts[name] = DeviceForecast(
                rates_pp_per_h=rates, rates_u_pct=5.0 if rates_u is None else rates_u,
                rates_runs=runs or 1,
                power_w=power, power_u_pct=10.0 if power_u is None else power_u,
            )  # fmt: skip
        return forecasts

    def _by_activity(
        self, table: Table, known: Sequence[str], *, high: float, unit: str
    ) -> dict[str, float]:
        values: dict[str, float] = {}
        for activity in table.data:
            value = table.number(activity, low=0.001, high=high, unit=unit)
            if activity not in known:
                self.notes.add(
                    "plan-activity",
                    table.key(activity),
                    severity="caution",
                    found=f"the activity {quoted(activity)}",
                    expected=f"an activity of the plan: {', '.join(known)}",
                    remedy="It is left out; correct the name if a planned activity was meant."
                    + hint(activity, known),
                )
            elif value is not None:
                values[activity] = value
        return values


def _in_row(devices: Sequence[Device]) -> tuple[Device, ...]:
    """Return the devices by position; those without one keep their order, behind the others."""
    placed = sorted((d for d in devices if d.position is not None), key=lambda d: d.position or 0)
    return (*placed, *(d for d in devices if d.position is None))
