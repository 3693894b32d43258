"""Rules on the design of the comparison: how far its statements can reach at all."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from kit.checks.conditions import as_number
from kit.checks.rule import DERIVED, Doubt, rule
from kit.checks.text import joined, minutes, number, pct, quoted

if TYPE_CHECKING:
    from collections.abc import Iterator

    from kit.checks.facts import Facts

__all__ = ["RULES"]

SETTLED_MIN = 15.0
"""After unplugging, a device may sync and tidy up for this long (min)."""

SYNC_PP = (0.9, 2.5)
"""... which costs this much (pp): 0.8–1.5 W for 10–15 min on 15 Wh, derived."""

HEALTH_DEFAULT = (0.95, 0.10)
"""Assumed full-charge capacity / rated where health is not recorded, and its half-range."""

LEVEL_SPREAD_PP = 30.0
"""Activities this far apart in state of charge (pp) are compared at unlike levels."""


@rule(
    "one-unit-one-run",
    "note",
    sees="A model with one unit in one run: nothing tells device from model, or day from day.",
    to_do="Speak of these units on this day; a statement about the model needs more of either.",
    source=DERIVED,
)
def one_unit_one_run(facts: Facts) -> Iterator[Doubt]:
    units: dict[tuple[str, str], list[str]] = {}
    for device in facts.session.devices:
        kind = ("model", device.model) if device.model else ("unit", device.id)
        units.setdefault(kind, []).append(device.id)
    single = [names[0] for names in units.values() if len(names) == 1]
    if len(facts.runs) > 1 or not single:
        return
    cv = facts.session.assumptions.run_unit_cv
    low = np.array([w.low for w in facts.windows])
    longest = float(np.nanmax(low, initial=0.0)) if low.size else 0.0
    need = 1.96 * np.sqrt(2.0) * cv * longest
    scale = (
        f" With a scatter of {number(100 * cv)} % between runs and units (run_unit_cv), a "
        f"difference in runtime below about {minutes(float(np.ceil(need)))} says nothing about "
        "the kinds of device."
        if longest > 0
        else ""
    )
    everyone = len(single) == len(facts.devices)
    yield Doubt(
        severity="note",
        found=f"one unit and one run {'of every model' if everyone else f'of {quoted(single)}'}",
        expected="several units or several runs, for a statement about a model",
        remedy="What is found holds for these units on this day." + scale,
    )


@rule(
    "order-not-balanced",
    "note",
    sees="Activities that were done once each, at unlike states of charge, in one order for all.",
    to_do="Repeat one reference activity first and last, or vary the order between runs.",
    source=DERIVED,
)
def order_not_balanced(facts: Facts) -> Iterator[Doubt]:
    phases = facts.session.phases
    done = [p for p in range(len(phases)) if phases[p].evaluated and not phases[p].is_split]
    activities = [phases[p].activity or phases[p].id for p in done]
    if len(set(activities)) < 2:
        return
    first: dict[str, int] = {}
    for p, activity in zip(done, activities, strict=True):
        if activity in first and p - first[activity] > 1:
            return
        first.setdefault(activity, p)
    level = np.where(np.isnan(facts.end_pct), facts.start_pct, facts.end_pct)
    usable = [p for p in done if not np.isnan(level[:, p]).all()]
    if len(usable) < 2:
        return
    middle = [float(np.nanmean(level[:, p])) for p in usable]
    if max(middle) - min(middle) < LEVEL_SPREAD_PP:
        return
    high, low = usable[int(np.argmax(middle))], usable[int(np.argmin(middle))]
    yield Doubt(
        severity="note",
        found=f"one order of activities for all, each done once: '{phases[high].id}' near "
        f"{pct(round(max(middle)))}, '{phases[low].id}' near {pct(round(min(middle)))}",
        expected="a reference activity repeated first and last, or unlike orders in several runs",
        remedy="Between activities, level and order are compared with them: at constant power a "
        "gauge that counts charge falls 11 to 13 % faster at 20 % than at 90 %. Between devices "
        "in one phase this does not matter as long as their levels are alike.",
    )


@rule(
    "no-warm-up",
    "note",
    sees="A first phase that starts within 15 minutes of unplugging, or at an unknown time after.",
    to_do="Let devices settle for 15 to 20 minutes in a warm-up that is not evaluated.",
    source=DERIVED,
)
def no_warm_up(facts: Facts) -> Iterator[Doubt]:
    if not facts.session.phases or not facts.session.phases[0].evaluated:
        return
    off = [as_number(facts.condition("off_charger_min", d)) for d in range(len(facts.devices))]
    short = [d for d, m in enumerate(off) if not m >= SETTLED_MIN]
    if not short or not facts.session.has_setup:
        return
    known = sorted({off[d] for d in short if not np.isnan(off[d])})
    when = (
        f"{joined([number(m) for m in known])} min after unplugging"
        if known
        else "at an unknown time after unplugging"
    )
    everyone = len(short) == len(facts.devices)
    names = "" if everyone else f" for {quoted(facts.devices[d] for d in short)}"
    yield Doubt(
        severity="note",
        place="setup",
        column="conditions.off_charger_min",
        found=f"the first phase, '{facts.phases[0]}', {when}{names}",
        expected=f"at least {minutes(SETTLED_MIN)} between unplugging and the first phase",
        remedy="A device just unplugged or restarted may sync: "
        f"{number(SYNC_PP[0])} to {number(SYNC_PP[1])} pp in this phase may be that. Mark a first "
        "phase of 15 to 20 min as evaluated = false next time.",
        phase=facts.phases[0],
    )


@rule(
    "health-unknown",
    "note",
    sees="A device whose battery health is not recorded.",
    to_do="Read it from the settings (health_pct); without it hours hold for this unit only.",
    source=DERIVED,
)
def health_unknown(facts: Facts) -> Iterator[Doubt]:
    unknown = [d.id for d in facts.session.devices if d.health_pct is None]
    if not unknown or not facts.session.has_setup:
        return
    kappa, half = HEALTH_DEFAULT
    yield Doubt(
        severity="note",
        place="setup",
        column=f"devices[{facts.devices.index(unknown[0]) + 1}].health_pct",
        found=f"no battery health of {quoted(unknown)}",
        expected="health_pct, the full-charge capacity in per cent of the rated one",
        remedy=f"Energy takes {number(kappa, 2)} ± {number(half, 2)} of the rated one instead, and "
        "hours hold for these units only: a battery at 85 % empties 18 % faster at the same "
        "power.",
        device=unknown[0] if len(unknown) == 1 else "",
    )


RULES = (one_unit_one_run, order_not_balanced, no_warm_up, health_unknown)
