"""A plan on the terminal: timetable, limited phases, expected course, what the day can decide.

Plain text at most `WIDTH` columns wide. The same facts, as display objects, are on the run
sheet.
"""

from __future__ import annotations

from math import isfinite, isnan
from typing import TYPE_CHECKING

from kit.labels import shorten, text_width
from kit.plan.limited_text import limited_phases
from kit.plan.lines import INDENT, WIDTH, broken, cell, moment, short_time, title, wrapped
from kit.plan.outlook import outlook
from kit.plan.predict import device_rates
from kit.plan.resolution_text import resolution_lines
from kit.plan.resolve import length_to_separate
from kit.plan.timetable import unattended
from kit.safe_text import displayable
from kit.units import MISSING, NO_BREAK, count, duration, joined, number, percent

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from kit.plan.advice import Advice
    from kit.plan.outlook import Outlook
    from kit.plan.planned import Plan
    from kit.plan.timetable import Item

__all__ = ["plan_text"]

NAME_WIDTH = 18
MANY_RUNS = 1000


def plan_text(plan: Plan) -> str:
    """Return the plan as text for a terminal.

    Raises
    ------
    ValueError
        If a limited phase is too short for its turns (a plan that was read has none such).
    """
    view = outlook(plan)
    parts = [
        _head(plan, view),
        _timetable(plan, view),
        limited_phases(plan, view),
        _expected(plan, view),
        _near_the_end(plan, view),
        _decides(plan, view),
        _advice(view),
    ]
    text = "\n\n".join(part for part in parts if part)
    return text.replace(NO_BREAK, " ") + "\n"


def _head(plan: Plan, view: Outlook) -> str:
    day = "" if plan.date is None else f"{plan.date:%A} {plan.date.day} {plan.date:%B %Y}"
    title = shorten(displayable(plan.title or plan.id), WIDTH - len(day) - 2)
    first = title + " " * (WIDTH - text_width(title) - len(day)) + day
    facts = [
        count(len(plan.devices), "device"),
        count(len(plan.phases), "phase"),
        f"starts {moment(plan, 0.0)}",
        f"over at {moment(plan, view.table.end_min)}"
        if plan.stop_min is None
        else f"stops {moment(plan, plan.stop_min)}",
        f"a walk takes {short_time(plan.walk_min)}",
    ]
    return "\n".join([first.rstrip(), wrapped(" · ".join(facts), "", "")])


MARKS = {"walk": "read", "setup": "set up", "break": "break", "stop": "stop"}


def _timetable(plan: Plan, view: Outlook) -> str:
    numbers = {p.id: str(i) for i, p in enumerate(plan.phases, start=1)}
    lines = [title("Timetable")]
    for item in view.table.items:
        span = f"{moment(plan, item.start_min)}"
        if item.end_min != item.start_min:
            span += f" – {moment(plan, item.end_min) if item.end_min is not None else 'empty'}"
        first, *more = _item_lines(plan, item, numbers)
        lines.append(f"{INDENT}{cell(span, 15)}  {first}".rstrip())
        lines += [f"{INDENT}{' ' * 15}  {line}".rstrip() for line in more]
    for start, end in unattended(plan, view.table):
        lines.append(
            wrapped(
                f"! Nobody is with the devices from {moment(plan, start)} to {moment(plan, end)}."
            )
        )
    return "\n".join(lines)


def _item_lines(plan: Plan, item: Item, numbers: dict[str, str]) -> list[str]:
    """Return the lines of an item; who has a turn is told in full."""
    length = "" if item.end_min is None else duration(item.end_min - item.start_min)
    length = "" if item.end_min == item.start_min else length
    inner = item.kind in ("turn", "change", "spare") or item.point == "inside"
    if item.kind == "phase":
        phase = plan.phase(item.phase)
        mark = numbers[item.phase]
        extra = "" if phase.evaluated else " (not evaluated)"
        content = f" · {phase.content}" if phase.content else ""
        text = f"{item.label}{extra}{content}"
    else:
        mark = MARKS.get(item.kind, "")
        text = item.label
    if item.kind == "walk":
        arrow = "→" if item.direction == "forward" else "←"
        text = f"{arrow} {text}"
    indent = 4 if inner else 0
    room = WIDTH - len(INDENT) - 15 - 2 - 7 - 10
    width = room - indent - 1
    told = [text]
    if item.kind in ("turn", "spare"):
        names = displayable(text).replace(" ", NO_BREAK)  # a name is not broken
        told = broken(names.replace(f",{NO_BREAK}", ", "), width, hang=2)
    body = " " * indent + cell(told[0], width) + " "
    return [
        f"{cell(mark, 6)} {body}{cell(length, 10, 'right')}",
        *(f"{cell('', 6)} {' ' * indent}{line}" for line in told[1:]),
    ]


def _expected(plan: Plan, view: Outlook) -> str:
    lines = [title("Expected course")]
    if all(w is None for w in view.windows):
        lines.append(
            wrapped(
                "No rates are known. Give each device rates_pp_per_h, or power_w and "
                "rated_energy_wh, or name an earlier session, to see when it will power off."
            )
        )
        return "\n".join(lines)
    share = percent(plan.coverage)
    head = f"{'':{NAME_WIDTH}}  {'power-off':>11}  {share + ' window':>25}"
    if plan.stop_min is not None:
        head += f"  {'before the stop':>15}"
    lines.append(f"{INDENT}{head}  rates from")
    for device, window in zip(plan.devices, view.windows, strict=True):
        row = cell(device.label, NAME_WIDTH)
        if window is None:
            lines.append(f"{INDENT}{row}  {MISSING:>11}  {'no rates known':>25}")
            continue
        span = f"{moment(plan, window.low_min)} to {moment(plan, window.high_min)}"
        row += f"  {moment(plan, window.expected_min):>11}  {span:>25}"
        if plan.stop_min is not None:
            row += f"  {percent(round(window.before_stop, 2)):>15}"
        sources = sorted({r.source for r in device_rates(plan, device.id).values()})
        lines.append(f"{INDENT}{row}  {', '.join(sources)}")
    assumed = plan.assumptions
    lines.append(
        wrapped(
            f"Runs and units of a kind scatter by {percent(assumed.run_unit_cv)}; between phases "
            f"a device drains up to {number(assumed.gap_rate_factor, 2)} × its busiest rate; it "
            f"powers off showing 0 to {number(assumed.off_pct_max)} %. Rates from 'others': not "
            "known, so anything between the slowest and the busiest of the others."
        )
    )
    return "\n".join(lines)


def _near_the_end(plan: Plan, view: Outlook) -> str:
    looks = view.looks
    if not looks.stretches:
        return ""
    names = {d.id: d.label for d in plan.devices}
    lines = [title("Near the end")]
    every = short_time(looks.every_min)
    text = (
        f"Look along the row every {every}"
        + (", noting seconds" if looks.note_seconds else "")
        + f": each power-off is then known to {short_time(looks.window_min)}"
    )
    if not looks.feasible:
        text += (
            f" (wished for: {short_time(plan.known_to_min)}, but one pass takes longer than the "
            "interval that would need)"
        )
    lines.append(wrapped(text + ". Begin when a device shows 10 %, at the latest:"))
    for start, end, devices in looks.stretches:
        span = f"{moment(plan, start)} to {moment(plan, end)}"
        lines.append(
            wrapped(
                f"{span}  {joined(names[d] for d in devices)}", INDENT * 2 + " " * 24, INDENT * 2
            )
        )
    return "\n".join(lines)


def _decides(plan: Plan, view: Outlook) -> str:
    if not view.pairs and not view.resolutions and not view.unmeasured:
        return ""
    lines = [title("What this day can decide")]
    lines += _pair_lines(plan, view)
    longer = _longer(plan, view)
    if longer:
        lines.append(wrapped(longer))
    lines += resolution_lines(plan, view)
    lines += _declared(plan)
    return "\n".join(lines)


def _row(cells: Sequence[str], widths: Sequence[int]) -> str:
    """Return one line of a table: the first cell to the left, the others to the right."""
    first = cell(cells[0], widths[0])
    others = (cell(c, w, "right") for c, w in zip(cells[1:], widths[1:], strict=True))
    return INDENT + "  ".join([first, *others]).rstrip()


PAIR_WIDTHS = (42, 11, 10, 11, 14)


def _pair_lines(plan: Plan, view: Outlook) -> list[str]:
    if not view.pairs:
        return []
    names = {d.id: d.label for d in plan.devices}
    head = (
        "Order of runtimes, neighbours as expected",
        "apart",
        "told",
        "as expected",
        "runs of each",
    )
    lines = [_row(head, PAIR_WIDTHS)]
    for pair in view.pairs:
        later, sooner = (shorten(names[d], NAME_WIDTH) for d in (pair.later, pair.sooner))
        many = pair.runs_for_kind is None or pair.runs_for_kind > MANY_RUNS
        lines.append(
            _row(
                (
                    f"{later} after {sooner}",
                    duration(pair.difference_min),
                    percent(round(pair.decided, 2)),
                    percent(round(pair.as_expected, 2)),
                    f"over {MANY_RUNS}" if many else str(pair.runs_for_kind),
                ),
                PAIR_WIDTHS,
            )
        )
    lines.append(
        wrapped(
            "Told: the chance that the power-offs of this day can be put in an order. As expected: "
            "the chance that the order is this one. Runs: what a claim about the kind of device "
            "would need, for a chance of 80 %."
        )
    )
    return lines


def _longer(plan: Plan, view: Outlook) -> str:
    if plan.stop_min is None:
        return ""
    known = [c for c in view.courses if c is not None]
    late = max((c.quantile(0.95) for c in known), default=float("nan"))
    if isnan(late) or late <= plan.stop_min:
        return ""
    if not isfinite(late):
        return "Even a week would not see every device power off."
    return (
        f"To see every device power off with a chance of 95 %, go on to {moment(plan, late)}, "
        f"{duration(late - plan.stop_min)} longer."
    )


DECLARED_WIDTHS = (42, 11, 14, 14)


def _declared(plan: Plan) -> list[str]:
    """Say how long a phase would have to be for the declared comparison."""
    if plan.declared_comparison is None:
        return []
    a, b = plan.declared_comparison
    rates_a, rates_b = device_rates(plan, a), device_rates(plan, b)
    ranked = sum(p.evaluated and not p.is_split for p in plan.phases)
    # its drains by the display and by the charge, and what is left after every phase
    comparisons = 2 * ranked + len(plan.phases)
    rows: dict[str, str] = {}
    for phase in plan.phases:
        name = phase.activity
        if phase.is_split or not phase.evaluated or name in rows or phase.planned_min is None:
            continue
        if name not in rates_a or name not in rates_b:
            continue
        lengths = [
            length_to_separate(
                rates_a[name].pp_per_h, rates_b[name].pp_per_h, gauge_error_pp=error,
                gauge_correlation_pp=plan.assumptions.gauge_correlation_pp,
                comparisons=comparisons,
            )
            for error in (0.0, plan.assumptions.gauge_error_pp)
        ]  # fmt: skip
        cells = (phase.label, duration(phase.planned_min), *(_length(x) for x in lengths))
        rows[name] = _row(cells, DECLARED_WIDTHS)
    if not rows:
        return []
    names = (shorten(plan.device(d).label, NAME_WIDTH) for d in (a, b))
    head = (f"{joined(names)}: which drains less", "planned", "by display", "by charge")
    note = (
        "Length at which a phase tells the two of the declared comparison apart with a chance of "
        "80 %: by what their displays fall, and by the charge they use, gauge error included; by "
        f"the rule of the report, which allows for {comparisons} comparisons of the two in a run."
    )
    return [_row(head, DECLARED_WIDTHS), *rows.values(), wrapped(note)]


def _length(minutes: float) -> str:
    return duration(minutes) if isfinite(minutes) else "never"


def _advice(view: Outlook) -> str:
    if not view.advice:
        return ""
    lines = [title("Advice, with its gain on this day")]
    lines += _advice_lines(view.advice)
    return "\n".join(lines)


def _advice_lines(found: Sequence[Advice]) -> Iterable[str]:
    for one in found:
        mark = "✓" if one.followed else "□"
        action = f"{one.action}." + (" Planned so." if one.followed else "")
        yield wrapped(f"{mark} {action}", INDENT * 2, INDENT)
        yield wrapped(one.gain, INDENT * 2)
