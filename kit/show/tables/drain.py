"""Tables of drains and rates: by phase, standing after each phase, order, shared phases."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kit.display import Column, Table
from kit.drain.declared import declared_pair
from kit.runtime.runtimes import charged_rows
from kit.show.cells import (
    Names,
    Row,
    by_phase_and_device,
    lettered,
    lettered_notes,
    note_long_names,
    of_run,
    place,
    rows_of,
    run_slug,
    run_words,
)
from kit.show.flag_words import status_text
from kit.units import MISSING, common_decimals, estimate, joined, number, percent

if TYPE_CHECKING:
    import pandas as pd

    from kit.results import Measurand, Results

__all__ = ["by_drawing", "drain", "drain_order", "parts", "rate", "standing", "total_drain"]

MEASURAND_WORDS: dict[Measurand, str] = {
    "displayed": "By the display",
    "true_charge": "By true charge, gauge error included",
}


def _codes(row: Row) -> list[str]:
    """Return the flags of a row, that a device powered off and which way its interval came by."""
    codes = [code for code in row.flags.split(";") if code]
    codes += ["monte_carlo"] if row.method == "monte_carlo" else []
    return ["died", *codes] if row.status == "died" and "died" not in codes else codes


def by_drawing(frame: pd.DataFrame) -> tuple[str, ...]:
    """Return the note for a table in which an interval is that of the Monte Carlo calculation."""
    if (frame["method"] == "monte_carlo").any():
        return ("Where Monte Carlo reaches further than the closed form, its interval is given.",)
    return ()


def _of_measurand(frame: pd.DataFrame, run: int, measurand: Measurand) -> pd.DataFrame:
    frame = of_run(frame, run)
    return frame[frame["measurand"] == measurand]


def _matrix(
    results: Results, run: int, measurand: Measurand, quantity: str, unit: str
) -> tuple[Table, ...]:
    frame = _of_measurand(results.phase_drain, run, measurand)
    slug = caption = quantity.split("_")[0]
    first = (measurand, slug) == ("displayed", "drain")
    low, high = f"{quantity}_low", f"{quantity}_high"
    decimals = common_decimals(zip(frame[low].tolist(), frame[high].tolist(), strict=True))

    def cell(row: Row) -> str:
        values = (getattr(row, name) for name in (quantity, low, high))
        text = estimate(*values, decimals=decimals)
        return status_text(row.status) if text == MISSING else text

    cover = percent(results.settings.coverage)
    return by_phase_and_device(
        results,
        frame,
        cell,
        table_id=f"{slug}-{measurand.replace('_', '-')}{run_slug(results, run)}",
        caption=f"{MEASURAND_WORDS[measurand]}: {caption} in each phase{run_words(results, run)}; "
        f"in brackets the {cover} coverage interval",
        unit=unit,
        codes=_codes,
        notes=note_long_names(results.session) if first else (),
        explained="" if first else "Letters as under the table of the displayed drain.",
    )


def drain(results: Results, run: int, measurand: Measurand = "displayed") -> tuple[Table, ...]:
    """Return the drain by phase and device (pp), with intervals; several tables if many devices.

    Parameters
    ----------
    run
        Number of the run.
    measurand
        ``displayed`` for statements within a device, ``true_charge`` between devices.
    """
    return _matrix(results, run, measurand, "drain_pp", "pp")


def rate(results: Results, run: int, measurand: Measurand = "displayed") -> tuple[Table, ...]:
    """Return the rate by phase and device (pp/h), with intervals."""
    return _matrix(results, run, measurand, "rate_pp_per_h", "pp/h")


def _declared_rule(results: Results) -> str:
    """Return that a pair was declared, whose places follow from a rule of its own."""
    pair = declared_pair(results.session)
    if pair is None:
        return ""
    names = Names.of(results.session).device
    a, b = (names[results.session.devices[k].id] for k in pair)
    return (
        f" {a} and {b}, the pair declared beforehand, are compared by a rule of their own: it may "
        "tell them apart where their ranges meet."
    )


def standing(results: Results, run: int) -> tuple[Table, ...]:
    """Return state of charge left and place after each phase; a tie shows a range of places."""

    def cell(row: Row) -> str:
        where = place(row.rank_best, row.rank_worst)
        if row.status == "no_reading" and where != MISSING:
            words = "not read"
        elif row.soc_pct != row.soc_pct or row.status in ("off", "died"):
            words = status_text(row.status)
        else:
            words = number(row.soc_pct, 0 if float(row.soc_pct).is_integer() else 1)
        return words if where == MISSING else f"{words} ({where})"

    lasted = of_run(results.runtimes, run)
    charged = set(lasted.loc[charged_rows(lasted), "device"])

    def codes(row: Row) -> list[str]:
        where = place(row.rank_best, row.rank_worst)
        return ["charged_before"] if where == MISSING and row.device in charged else []

    frame = of_run(results.standing, run)
    unread = bool(((frame["status"] == "no_reading") & frame["rank_best"].notna()).any())
    return by_phase_and_device(
        results,
        frame,
        cell,
        table_id=f"standing{run_slug(results, run)}",
        caption="State of charge left after each phase as displayed, in brackets the place"
        + run_words(results, run),
        unit="%",
        codes=codes,
        notes=(
            "A range of places is open: which of them it is, the readings do not tell."
            + _declared_rule(results)
            + (
                " A device that was not read may stand anywhere among those that were on."
                if unread
                else ""
            ),
            *note_long_names(results.session),
        ),
    )


def _supported(frame: pd.DataFrame, names: Names) -> list[str]:
    """Return who drained less than whom, one phrase for each device that did."""
    less: dict[str, list[str]] = {}
    for row in rows_of(frame):
        if row.verdict_table == "a":
            less.setdefault(row.device_a, []).append(row.device_b)
        elif row.verdict_table == "b":
            less.setdefault(row.device_b, []).append(row.device_a)
    ahead = sorted(less, key=lambda d: (-len(less[d]), list(names.device).index(d)))
    return [
        f"{names.device[a]} less than {joined(names.device[b] for b in less[a])}" for a in ahead
    ]


def _margin(margins: pd.Series[float]) -> str:
    if margins.empty:
        return MISSING
    low, high = number(margins.min(), 1), number(margins.max(), 1)
    return low if low == high else f"{low} to {high}"


def total_drain(results: Results, run: int) -> tuple[Table, ...]:
    """Return the drain since the start by the display (pp), with intervals."""
    frame = of_run(results.standing, run)
    known = frame[frame["total_drain_pp"].notna()]
    if known["phase"].nunique() < 2:
        return ()
    low, high = known["total_drain_pp_low"].tolist(), known["total_drain_pp_high"].tolist()
    decimals = common_decimals(zip(low, high, strict=True))

    def cell(row: Row) -> str:
        text = estimate(
            row.total_drain_pp, row.total_drain_pp_low, row.total_drain_pp_high, decimals=decimals
        )
        return status_text(row.status) if text == MISSING else text

    return by_phase_and_device(
        results,
        frame,
        cell,
        table_id=f"total-drain{run_slug(results, run)}",
        caption=f"By the display: drain since the start{run_words(results, run)}; in brackets the "
        f"{percent(results.settings.coverage)} coverage interval",
        unit="pp",
        notes=(
            "It rests on the first and the last reading: the readings between cancel, so its "
            "interval does not grow with the number of phases.",
            *by_drawing(frame),
        ),
    )


def drain_order(results: Results, run: int, measurand: Measurand = "true_charge") -> Table:
    """Return, for each phase, which differences in drain between devices stand.

    All pairs in all phases are judged together, so the margin is the one for a whole table.
    """
    names = Names.of(results.session)
    frame = _of_measurand(results.drain_pairs, run, measurand)
    rows = []
    for phase in results.session.phases:
        here = frame[frame["phase"] == phase.id]
        if here.empty:
            continue
        verdicts = here["verdict_table"].value_counts()
        margins = here["margin_table_pp"].dropna()
        phrases = _supported(here, names)
        rows.append(
            (
                names.numbered(phase.id),
                "; ".join(phrases) or "none",
                str(int(verdicts.get("tie", 0))),
                str(len(here) - int(verdicts.reindex(["a", "b", "tie"]).sum())),
                _margin(margins),
            )
        )
    return Table(
        id=f"drain-order-{measurand.replace('_', '-')}{run_slug(results, run)}",
        caption=f"{MEASURAND_WORDS[measurand]}: who drained less in each phase"
        f"{run_words(results, run)}",
        columns=(
            Column(name="Phase"),
            Column(name="Differences that stand"),
            Column(name="Pairs too close", align="right", numeric_sort=True),
            Column(name="Pairs not comparable", align="right", numeric_sort=True),
            Column(name="Margin needed", unit="pp", align="right"),
        ),
        rows=tuple(rows),
        notes=(
            "A difference stands when it is larger than the margin that allows for every pair "
            "in every phase being looked at.",
        ),
    )


def parts(results: Results, run: int) -> Table:
    """Return the rates in the parts of crossover and rotation phases, and their differences."""
    names = Names.of(results.session)
    letters: dict[str, str] = {}
    rows = []
    for row in rows_of(of_run(results.parts, run)):
        value = estimate(
            row.rate_pp_per_h, row.rate_pp_per_h_low, row.rate_pp_per_h_high, decimals=1
        )
        if value == MISSING:
            value = status_text(row.status)
        rows.append(
            (
                names.numbered(row.phase),
                names.device.get(row.device, "all devices"),
                row.part,
                number(row.exposure_h * 60),
                value + lettered(row.flags.split(";"), letters),
            )
        )
    return Table(
        id=f"parts{run_slug(results, run)}",
        caption=f"Shared and rotated phases, part by part{run_words(results, run)}; in brackets "
        f"the {percent(results.settings.coverage)} coverage interval",
        columns=(
            Column(name="Phase"),
            Column(name="Device"),
            Column(name="Part"),
            Column(name="Time on it", unit="min", align="right", numeric_sort=True),
            Column(name="Rate", unit="pp/h", align="right", numeric_sort=True),
        ),
        rows=tuple(rows),
        notes=lettered_notes(letters),
    )
