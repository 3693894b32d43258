"""Tables of drains and rates: by phase, standing after each phase, order, shared phases."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kit.display import Column, Table
from kit.flag_words import flag_text, status_text
from kit.tables.cells import (
    Marks,
    Names,
    Row,
    by_phase_and_device,
    note_long_names,
    of_run,
    place,
    rows_of,
    run_slug,
    run_words,
)
from kit.units import MISSING, common_decimals, estimate, interval, joined, number, percent

if TYPE_CHECKING:
    import pandas as pd

    from kit.results import Measurand, Results

__all__ = ["drain", "drain_order", "parts", "rate", "standing"]

MEASURAND_WORDS: dict[Measurand, str] = {
    "displayed": "displayed drain",
    "true_charge": "true-charge drain, gauge error included",
}


def _codes(flags: str) -> list[str]:
    return [code for code in flags.split(";") if code]


def _of_measurand(frame: pd.DataFrame, run: int, measurand: Measurand) -> pd.DataFrame:
    frame = of_run(frame, run)
    return frame[frame["measurand"] == measurand]


def _matrix(
    results: Results, run: int, measurand: Measurand, quantity: str, unit: str, caption: str
) -> tuple[Table, ...]:
    frame = _of_measurand(results.phase_drain, run, measurand)
    low, high = f"{quantity}_low", f"{quantity}_high"
    decimals = common_decimals(zip(frame[low].tolist(), frame[high].tolist(), strict=True))
    marks = Marks(words=flag_text)

    def cell(row: Row) -> str:
        text = estimate(
            getattr(row, quantity), getattr(row, low), getattr(row, high), decimals=decimals
        )
        codes = _codes(row.flags)
        if text == MISSING:
            return status_text(row.status) + marks(codes)
        if row.status == "died" and "died" not in codes:
            codes = ["died", *codes]
        return text + marks(codes)

    slug = f"{quantity.split('_')[0]}-{measurand.replace('_', '-')}{run_slug(results, run)}"
    cover = percent(results.settings.coverage)
    return by_phase_and_device(
        results,
        frame,
        cell,
        table_id=slug,
        caption=f"{caption} ({MEASURAND_WORDS[measurand]}){run_words(results, run)}, "
        f"in brackets the {cover} coverage interval",
        unit=unit,
        notes=lambda: (*marks.notes, *note_long_names(results.session)),
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
    return _matrix(results, run, measurand, "drain_pp", "pp", "Drain in each phase")


def rate(results: Results, run: int, measurand: Measurand = "displayed") -> tuple[Table, ...]:
    """Return the rate by phase and device (pp/h), with intervals."""
    return _matrix(results, run, measurand, "rate_pp_per_h", "pp/h", "Rate in each phase")


def standing(results: Results, run: int) -> tuple[Table, ...]:
    """Return state of charge left and place after each phase; a tie shows a range of places."""

    def cell(row: Row) -> str:
        if row.soc_pct != row.soc_pct:
            where = place(row.rank_best, row.rank_worst)
            words = status_text(row.status)
            return words if where == MISSING else f"{words} ({where})"
        return f"{number(row.soc_pct, 0 if float(row.soc_pct).is_integer() else 1)} " + (
            f"({place(row.rank_best, row.rank_worst)})"
        )

    return by_phase_and_device(
        results,
        of_run(results.standing, run),
        cell,
        table_id=f"standing{run_slug(results, run)}",
        caption="State of charge left after each phase as displayed, in brackets the place"
        + run_words(results, run),
        unit="%",
        notes=lambda: (
            "A range of places is a tie: the readings do not tell these devices apart.",
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
                str(int(verdicts.get("too_close", 0))),
                str(int(verdicts.get("unknown", 0))),
                interval(margins.min(), margins.max(), decimals=1) if len(margins) else MISSING,
            )
        )
    return Table(
        id=f"drain-order-{measurand.replace('_', '-')}{run_slug(results, run)}",
        caption=f"Who drained less in each phase ({MEASURAND_WORDS[measurand]})"
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
    frame = of_run(results.parts, run)
    marks = Marks(words=flag_text)
    rows = []
    for row in rows_of(frame):
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
                value + marks(_codes(row.flags)),
            )
        )
    return Table(
        id=f"parts{run_slug(results, run)}",
        caption=f"Shared and rotated phases, part by part{run_words(results, run)}",
        columns=(
            Column(name="Phase"),
            Column(name="Device"),
            Column(name="Part"),
            Column(name="Time on it", unit="min", align="right", numeric_sort=True),
            Column(name="Rate", unit="pp/h", align="right", numeric_sort=True),
        ),
        rows=tuple(rows),
        notes=marks.notes,
    )
