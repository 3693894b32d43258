"""How the numbers were obtained, with the values that were really used."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kit.drain.agreement import ON_PURPOSE
from kit.units import percent, quantity
from kit.units import recorded as said

if TYPE_CHECKING:
    import pandas as pd

    from kit.results import Results

__all__ = ["methods"]


def methods(results: Results) -> tuple[str, ...]:
    """Return paragraphs on readings, uncertainty, runtimes, order, Monte Carlo and rounding."""
    return (
        _measurands(),
        _reading(results),
        _interval(results),
        _runtimes(results),
        _monte_carlo(results),
        _rounding(),
    )


def _measurands() -> str:
    return (
        "Two quantities are kept apart. The displayed drain is what a device's own percentage "
        "lost in a phase; it serves to compare phases of one device. The true-charge drain is the "
        "share of the usable charge that left the battery, zero being the power-off; the error of "
        "the gauge counts in it, and it serves to compare devices. A rate is a drain divided by "
        "the time that the device spent in the phase."
    )


def _reading(results: Results) -> str:
    used = results.session.assumptions
    delay = (
        "Readings were made in a pause, so they carry no delay."
        if used.reading_delay_min == 0
        else "Unless its minute was noted, a reading is taken to have been made up to "
        f"{said(float(used.reading_delay_min), 'min')} after its boundary, with the next activity "
        "already running; the mean of that delay is corrected and its spread is in the "
        "uncertainty."
    )
    lag = (
        " A display is taken to show the charge of up to "
        f"{said(float(used.display_lag_min), 'min')} before; that too is corrected by its mean, "
        "with one error for all readings of a device."
        if used.display_lag_min > 0
        else ""
    )
    return (
        "Errors belong to readings, not to phases: two phases in a row share a reading, so their "
        "drains are correlated, and the drain over several phases depends on the first and the "
        f"last reading only. {delay}{lag}"
    )


def _interval(results: Results) -> str:
    share = percent(results.settings.coverage)
    return (
        f"The interval of a drain reaches U = √(X² + k²u²) + b to either side, for {share}. X "
        "comes from the resolution of the display: two readings in whole per cent give a "
        f"standard uncertainty of 1/√6 = {quantity(0.41, 'pp', 2)} and, for 95\N{NO-BREAK SPACE}%, "
        f"X = {quantity(0.8, 'pp', 1)}; from a full charge or to a power-off, where the unknown "
        f"rounding does not cancel, {quantity(0.5, 'pp', 2)} and {quantity(1, 'pp', 1)}. u joins "
        "everything else that averages; b, the drain that unlogged time may have caused, does not "
        "average and is added in full. Skewed results state their two ends and no ±."
    )


def _runtimes(results: Results) -> str:
    words = {
        "floor": "as a digital clock shows them, so a minute noted means that minute had begun",
        "nearest": "rounded to the nearest minute",
        "unknown": "in an unknown way, so half a minute before and a whole one after are allowed",
    }
    return (
        "A runtime lies between the time a device was last seen on and the time it was first seen "
        f"off. Minutes are taken {words[results.session.assumptions.clock_rounding]}. Order is "
        "claimed for a pair only when those times leave no other, however probable it may be, and "
        "a longest-lasting device is named only when that holds against all others. "
        "A device that was not seen off has a lower bound and no more."
    )


def _monte_carlo(results: Results) -> str:
    judged = _both_ways(results)
    text = (
        f"Every result was computed a second time by Monte Carlo (seed {results.settings.seed}): "
        "every reading, delay, length, gap, gauge error, power-off and battery is drawn from its "
        "distribution, and drains, rates, hours, mixes, energy, power and runtimes are worked out "
        f"from what was drawn, {_draws(results)}."
    )
    if not len(judged):
        return text
    text += f" {_stated_by(results)}"
    agrees = judged["agrees"].astype(bool)
    agree = int(agrees.sum())
    if agree == len(judged):
        return f"{text} All {len(judged)} intervals agree with the closed form."
    others = len(judged) - agree
    rest = "the one left" if others == 1 else f"the other {others}"
    text += f" {agree} of {len(judged)} intervals agree with the closed form within the tolerance"
    if judged.loc[~agrees, "why"].str.startswith(ON_PURPOSE).all():
        return f"{text}; that of {rest} is wider on purpose, as the tables of agreement explain."
    return f"{text}; the tables of agreement say why {rest} {'does' if others == 1 else 'do'} not."


def _both_ways(results: Results) -> pd.DataFrame:
    """Return ``agrees`` and ``why`` of every result that was computed both ways."""
    import pandas as pd

    frames = [results.agreement, results.extra.get("agreements")]
    parts = [f[["agrees", "why"]] for f in frames if f is not None and len(f)]
    return pd.concat(parts) if parts else pd.DataFrame({"agrees": [], "why": []})


def _draws(results: Results) -> str:
    """Return how many draws were made, and whether they were enough."""
    found = results.extra.get("monte_carlo")
    rows = [] if found is None else found.to_dict(orient="records")
    made = int(rows[0]["draws"]) if rows else results.settings.draws
    digits = rows[0]["digits"] if rows else None
    times = f"{made:,} times".replace(",", "\N{NO-BREAK SPACE}")
    if digits is None or digits != digits:
        return times
    asked = "one significant digit" if results.settings.digits == 1 else "two significant digits"
    if digits < 1:
        return f"{times}, after which not every figure stood to {asked} of its u"
    return (
        f"{times}, when u and both ends of every interval stood to {asked} of u "
        "(JCGM 101:2008, 7.9.4)"
    )


def _stated_by(results: Results) -> str:
    """Return which of the intervals stated are by which way."""
    frames = [results.phase_drain, results.standing, results.projections, results.energy]
    frames += [f for f in (results.extra.get("mixes"),) if f is not None]
    drawn, closed = (
        sum(int((frame["method"] == name).sum()) for frame in frames)
        for name in ("monte_carlo", "gum")
    )
    if not drawn:
        return "Every interval that is stated is the closed form's."
    return (
        f"Of the intervals that are stated, {closed} are the closed form's and {drawn} are by "
        "Monte Carlo, where it reaches further; the tables mark those."
    )


def _rounding() -> str:
    return (
        "Printed numbers are rounded to their uncertainty, a standard uncertainty to two "
        "significant digits; the ends of intervals are rounded outwards. Full precision is in the "
        "results file and the CSV tables that come with this report."
    )
