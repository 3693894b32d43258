"""The setup file of the session that a plan describes, with comments."""

from __future__ import annotations

from dataclasses import fields
from typing import TYPE_CHECKING

from kit.session import Assumptions, Gauge
from kit.units import clock, number

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from kit.plan.outlook import Outlook
    from kit.plan.planned import Plan
    from kit.plan.schedules import Schedule
    from kit.session import Device, Phase

__all__ = ["setup_text"]

RULE = 88
LONG_LINE = 70


def setup_text(plan: Plan, view: Outlook) -> str:
    """Return the setup file of the session that a plan describes."""
    parts = [
        *_session_lines(plan, view),
        *_condition_lines(plan),
        *_assumption_lines(plan, view),
        *_claim_lines(plan),
        *_device_lines(plan),
        *_phase_lines(plan, view),
    ]
    return "\n".join(parts) + "\n"


def _ruled(title: str) -> str:
    return f"\n# {'-' * (RULE - len(title) - 3)} {title}"


def _session_lines(plan: Plan, view: Outlook) -> Iterator[str]:
    yield f"# {_plain(plan.title or plan.id)}"
    yield "#"
    yield "# Made from a plan. This file says what is tested and how; log.csv, beside it, what was"
    yield "# seen. Correct here whatever was done otherwise than planned: what stands here is what"
    yield "# the report says. What is left out is reported as not recorded, never guessed."
    yield ""
    yield "[session]"
    yield from _keys(
        {
            "id": plan.id,
            "title": plan.title,
            "date": plan.date,
            "timezone": plan.timezone,
            "operator": plan.operator,
            "revision": 1,
            "notes": plan.notes,
            "log": "log.csv",
            "look_every_min": view.looks.every_min,
        }
    )
    yield from _start_lines(plan, view)
    yield '# stop = "18:00"               # when the session was stopped'
    yield '# stated_elapsed = "10:00"     # h:mm, if somebody called it out'


def _start_lines(plan: Plan, view: Outlook) -> Iterator[str]:
    """Runtimes count from the first phase, which begins when it begins: the log says when."""
    if plan.start is not None and plan.phases:
        begins = view.table.of_phase(plan.phases[0].id).start_min
        planned = f'# start = "{clock(plan.start, begins)}"'
        yield f"{planned:<30}# planned; without it, the first phase_start in the log counts"


def _condition_lines(plan: Plan) -> Iterator[str]:
    yield _ruled("conditions, same for all")
    yield '# As planned. Write "not recorded" where nobody looked.'
    yield "[conditions]"
    yield from _keys(plan.conditions)
    for name, what in (
        ("room_start_c", "room temperature at the start"),
        ("room_end_c", "and at the end"),
        ("luminance_cd_m2", "measured with a meter on a white page"),
        ("held_full_min", "on the charger after showing 100 %"),
        ("off_charger_min", "unplugged this long before the start"),
    ):
        if name not in plan.conditions:
            yield f'{name} = "not recorded"'.ljust(34) + f"# {what}"


def _assumption_lines(plan: Plan, view: Outlook) -> Iterator[str]:
    stated = plan.assumptions.stated
    yield _ruled("what the kit has to assume")
    yield "[assumptions]"
    yield from _keys(
        {f.name: getattr(plan.assumptions, f.name) for f in fields(Assumptions) if f.name in stated}
    )
    if "reading_delay_min" not in stated:
        late = 0.0 if plan.next_phase == "after_walk" else max(1.0, float(_ceil(plan.walk_min)))
        why = (
            "the row is read in a pause, before the next phase"
            if late == 0
            else "the row is read while the next phase has begun"
        )
        yield f"reading_delay_min = {late:g}".ljust(34) + f"# {why}"
    if "off_check_min" not in stated:
        yield f"# off_check_min = {view.looks.every_min:g}".ljust(34) + (
            "# only if near empty the row was really looked at this often"
        )


def _ceil(value: float) -> int:
    from kit.plan.timetable import whole_minutes

    return whole_minutes(value)


def _claim_lines(plan: Plan) -> Iterator[str]:
    if plan.declared_comparison is not None:
        yield _ruled("one comparison chosen beforehand")
        yield "[claims]"
        yield from _keys({"declared_comparison": plan.declared_comparison})
    if plan.mixes:
        yield _ruled("how a day is really spent, by time")
    for name, weights in plan.mixes.items():
        yield f"[mixes.{_key(name)}]"
        yield from _keys(weights)
        yield ""


DEVICE_KEYS = (
    "position", "model", "groups", "display_diagonal_in", "display_px", "rated_energy_wh",
    "rated_energy_tol_pct", "rated_capacity_mah", "nominal_voltage_v", "health_pct",
    "health_u_pct", "software", "notes",
)  # fmt: skip


def _device_lines(plan: Plan) -> Iterator[str]:
    yield _ruled("the row, left to right")
    for device in plan.devices:
        yield "[[devices]]"
        yield from _keys({"id": device.id, "label": device.label})
        yield from _keys({name: getattr(device, name) for name in DEVICE_KEYS})
        yield from _gauge_lines(device)
        if device.conditions:
            yield ""
            yield "[devices.conditions]"
            yield from _keys(device.conditions)
        yield ""


def _gauge_lines(device: Device) -> Iterator[str]:
    usual = Gauge()
    stated = {
        f.name: getattr(device.gauge, f.name)
        for f in fields(Gauge)
        if getattr(device.gauge, f.name) != getattr(usual, f.name)
    }
    if stated:
        inner = ", ".join(f"{name} = {_value(value)}" for name, value in stated.items())
        yield f"gauge = {{ {inner} }}"


def _phase_lines(plan: Plan, view: Outlook) -> Iterator[str]:
    yield _ruled("the protocol, in order")
    yield "# Start and end of each phase by the clock belong into log.csv."
    for phase in plan.phases:
        schedule = view.table.schedules.get(phase.id)
        if schedule is not None:
            yield from _schedule_comment(plan, schedule)
        yield "[[phases]]"
        yield from _keys(_phase_values(phase, schedule))
        yield from _keys({"start_read_after_min": _start_read(plan, view, phase)})
        if schedule is not None:
            yield from _turn_lines(schedule)
        yield ""


def _phase_values(phase: Phase, schedule: Schedule | None) -> dict[str, object]:
    halves = schedule is not None and schedule.kind == "crossover" and len(schedule.groups) == 2
    kind: str = phase.kind
    turn_min = phase.turn_min
    if schedule is not None and not halves:
        kind, turn_min = "rotation", schedule.turn_min
    return {
        "id": phase.id,
        "label": phase.label,
        "activity": phase.activity,
        "kind": None if kind == "plain" else kind,
        "parts": phase.parts,
        "first_half": schedule.first_half if schedule is not None and halves else None,
        "turn_min": turn_min if kind == "rotation" else None,
        "planned_min": phase.planned_min,
        "evaluated": None if phase.evaluated else False,
        "screen_on": phase.screen_on,
        "content": phase.content,
        "script": phase.script,
        "notes": phase.notes,
    }


def _start_read(plan: Plan, view: Outlook, phase: Phase) -> float | str | None:
    """Return how long after the readings before it the row is read again, or that it never is."""
    walks = [i for i in view.table.items if i.kind == "walk"]
    at = next((n for n, i in enumerate(walks) if (i.phase, i.point) == (phase.id, "start")), None)
    if at is None:
        return "never" if plan.read_at == "end" else None
    before = walks[at - 1].end_min if at else None
    return None if before is None else walks[at].start_min - before


def _schedule_comment(plan: Plan, schedule: Schedule) -> Iterator[str]:
    names = {d.id: d.label for d in plan.devices}
    yield f"# Who does {_plain(schedule.parts[0])}, in minutes after the start of the phase; the"
    yield "# others do the other part. What was really done stands in log.csv (event turn)."
    for turn in schedule.turns:
        who = ", ".join(_plain(names[d]) for d in turn.devices)
        yield f"#   {number(turn.start_min):>4} to {number(turn.end_min):<4} {who}"


def _turn_lines(schedule: Schedule) -> Iterator[str]:
    """Return the turns as the recorder and the check read them."""
    yield "planned_turns = ["
    for turn in schedule.turns:
        yield (
            f"  {{ start_min = {_value(turn.start_min)}, end_min = {_value(turn.end_min)}, "
            f"devices = [{', '.join(_value(d) for d in turn.devices)}] }},"
        )
    yield "]"


def _plain(text: str) -> str:
    """Return text on one line, fit for a comment."""
    return "".join(c if c.isprintable() else " " for c in text)


def _keys(values: Mapping[str, object]) -> Iterator[str]:
    """Return lines of keys; what is None or empty is left out."""
    for name, value in values.items():
        if value is None or value in ("", ()):
            continue
        yield f"{_key(name)} = {_value(value)}"


def _key(name: str) -> str:
    bare = name.isascii() and name.replace("-", "").replace("_", "").isalnum()
    return name if bare else _text(name)


def _value(value: object) -> str:
    r"""Return a value as TOML; a list of texts that is long has one on each line.

    Examples
    --------
    >>> _value('say "hi"'), _value((1.0, 2)), _value(True)
    ('"say \\"hi\\""', '[1, 2]', 'true')
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (int, float)):
        return f"{value:.12g}"
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, (list, tuple)):
        parts = [_value(v) for v in value]
        line = ", ".join(parts)
        return f"[{line}]" if len(line) < LONG_LINE else "[\n  " + ",\n  ".join(parts) + ",\n]"
    return str(value)  # a date, time or date-time is written as it prints


def _text(text: str) -> str:
    """Return a basic string of TOML (TOML 1.0.0, "String")."""
    escaped = []
    for char in text:
        if char in '"\\':
            escaped.append("\\" + char)
        elif char == "\n":
            escaped.append("\\n")
        elif char == "\t":
            escaped.append("\\t")
        elif ord(char) < 0x20 or ord(char) == 0x7F:
            escaped.append(f"\\u{ord(char):04X}")
        else:
            escaped.append(char)
    return f'"{"".join(escaped)}"'
