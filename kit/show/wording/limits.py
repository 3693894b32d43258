"""What the comparison cannot carry, said with the session's own numbers."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kit.drain.gauge import step_of
from kit.labels import device_names
from kit.read.conditions import CONDITIONS
from kit.show.cells import of_run, rows_of, run_numbers
from kit.show.wording.glance import units_and_runs
from kit.units import NO_BREAK, count, duration, joined, percent, quantity
from kit.units import recorded as said

if TYPE_CHECKING:
    from kit.results import Results

__all__ = ["limits", "unaccounted_min"]


LEVEL_EFFECT_PP = 2.0
"""Most that percent of energy and percent of charge differ by; derived in docs/measurement.md."""


def unaccounted_min(results: Results, run: int) -> float:
    """Return the minutes of a run that lie between its phases."""
    total, before = 0.0, 0.0
    for span in rows_of(of_run(results.session.spans, run)):
        if span.start_min == span.start_min:
            total += max(0.0, span.start_min - before)
        if span.end_min == span.end_min:
            before = max(before, span.end_min)
    return total


def limits(results: Results) -> tuple[str, ...]:
    """Return the limits of the comparison, one plain statement each."""
    return tuple(
        text
        for text in (
            units_and_runs(results),
            _coverage(results),
            _bounds(),
            _convention(results),
            _gauge(results),
            _levels(results),
            _order(results),
            _unaccounted(results),
            _luminance(results),
            _conditions(results),
            _several_claims(results),
        )
        if text
    )


def _coverage(results: Results) -> str:
    share = percent(results.settings.coverage)
    text = (
        f"An interval marked {share} holds the true value with that probability on average over "
        "the fractions of a per cent that the display hides, and over the ways in which it may "
        "round. "
    )
    if results.settings.coverage == 0.95:
        text += (
            f"For one fixed drain it may be anything from 80{NO_BREAK}% to 100{NO_BREAK}%; over "
            "many drains it is 95. "
        )
    return f"{text}{_display_alone(results)}"


def _display_alone(results: Results) -> str:
    """Return by how much a drain can be wrong for the steps of the displays alone."""
    readings = results.session.readings
    seen = {device: mine["soc_pct"] for device, mine in readings.groupby("device", sort=False)}
    steps = {d.id: step_of(d.gauge, seen.get(d.id, [])) for d in results.session.devices}
    start = (
        "What always holds, as far as the display alone is concerned: a drain between two readings "
    )
    each = list(dict.fromkeys(steps.values()))
    if len(each) < 2:
        step = each[0] if each else 1.0
        return (
            f"{start}is wrong by less than {_pp(step)}, a difference of two drains by less than "
            f"{_pp(2 * step)}."
        )
    names = device_names(results.session)
    usual = max(each, key=list(steps.values()).count)
    others = joined(
        f"{_pp(step)} for {names[device]}" for device, step in steps.items() if step != usual
    )
    return (
        f"{start}is wrong by less than one step, {_pp(usual)} ({others}), a difference of two "
        "drains by less than the steps of both."
    )


def _pp(value: float) -> str:
    return quantity(value, "pp", 0 if float(value).is_integer() else 2)


def _bounds() -> str:
    return (
        "The bounds of a runtime are not of that kind: if the times were noted correctly they "
        "hold always. Between them every minute is as likely as any other."
    )


def _convention(results: Results) -> str:
    unknown = [d for d in results.session.devices if d.gauge.rounding == "unknown"]
    if not unknown:
        return ""
    whose = (
        "any device"
        if len(unknown) == len(results.session.devices)
        else count(len(unknown), "device")
    )
    return (
        f"How the percentage is rounded was not recorded for {whose}. It may be up, down or to "
        "the nearest, but it is the same in every reading of a device, so repeating a session "
        "does not average it out."
    )


def _gauge(results: Results) -> str:
    used = results.session.assumptions
    stated = {"gauge_error_pp", "gauge_correlation_pp"} & used.stated
    origin = "stated in the setup file" if stated else "an assumption of the kit, not measured"
    return (
        "Statements between devices allow the percentage to be wrong by up to "
        f"{said(float(used.gauge_error_pp), 'pp')} against true charge, staying alike over about "
        f"{said(float(used.gauge_correlation_pp), 'pp')}. This is {origin} here; every figure for "
        "true charge, energy and power depends on it."
        + (
            " It is less than what may lie between a gauge that counts charge and one that counts "
            f"energy, about {quantity(LEVEL_EFFECT_PP, 'pp')}, so statements between devices at "
            "different charge levels do not allow for that."
            if used.gauge_error_pp < LEVEL_EFFECT_PP
            else ""
        )
    )


def _levels(results: Results) -> str:
    if len(results.session.phases) < 2:
        return ""
    return (
        "Phases were run one after another, so each met the batteries at another level. At the "
        "same power, a gauge that counts charge falls faster towards the end, by roughly a tenth "
        "to a fifth between a nearly full and a nearly empty battery; a power saver slows it. "
        "Projections, energy and power allow for that; the displayed drains and rates do not, so "
        "a difference of that size between phases is a difference of the display only."
    )


def _order(results: Results) -> str:
    if len(results.session.phases) < 2 or len(results.session.devices) < 2:
        return ""
    return (
        "All devices went through the phases in the same order. What one activity leaves behind "
        "for the next, such as warmth, cannot be told from the activity itself."
    )


def _unaccounted(results: Results) -> str:
    lost = [unaccounted_min(results, run) for run in run_numbers(results)]
    if max(lost, default=0.0) < 1.0:
        return ""
    where = "" if len(lost) == 1 else " in the run with most of it"
    return (
        f"Between the phases lie {duration(max(lost))}{where} that no phase accounts for. Their "
        "drain is taken off where it would fall between two readings of a phase, and what it may "
        "have been is added to the interval."
    )


def _luminance(results: Results) -> str:
    conditions = results.session.conditions
    has_percent = said(conditions.get("brightness_pct")) != "not recorded"
    has_luminance = said(conditions.get("luminance_cd_m2")) != "not recorded"
    own = any("luminance_cd_m2" in d.conditions for d in results.session.devices)
    if not has_percent or has_luminance or own or len(results.session.devices) < 2:
        return ""
    return (
        "Brightness was set to the same percentage, not to the same measured luminance. Equal "
        "percentages are not equal brightness, and brightness weighs heavily on drain."
    )


def _conditions(results: Results) -> str:
    session = results.session
    missing = [
        known.label.lower()
        for key, known in CONDITIONS.items()
        if not key.endswith("_threshold_pct")
        and said(session.conditions.get(key)) == "not recorded"
        and not all(key in d.conditions for d in session.devices)
    ]
    if not missing:
        return ""
    if not session.conditions and not any(d.conditions for d in session.devices):
        return "No condition of the session was recorded; none can be ruled out as a cause."
    return f"Not recorded, and so not to be ruled out as a cause: {joined(missing)}."


def _several_claims(results: Results) -> str:
    n = len(results.session.devices)
    if n < 3:
        return ""
    text = (
        "With many pairs compared, some would differ by chance. Differences in drain are "
        "therefore judged with the margin for the whole table"
    )
    pair = results.session.declared_comparison
    if pair is None:
        return f"{text}."
    labels = {d.id: d.label for d in results.session.devices}
    return (
        f"{text}; only {joined(labels.get(d, d) for d in pair)}, declared before the session, are "
        "judged by a rule of their own, which allows for every comparison of the two and for no "
        "other."
    )
