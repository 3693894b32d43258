"""Tables beside energy and power: power per area and luminance, and the index formula."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from kit.display import Column, Table
from kit.drain.gauge import FULL_PCT
from kit.show.cells import Names, by_phase_and_device, of_run, rows_of, run_slug, run_words
from kit.units import MISSING, common_decimals, estimate, h_mm, interval, joined, number, percent

if TYPE_CHECKING:
    from kit.results import Results
    from kit.show.cells import Row

__all__ = ["endurance_index", "specific_power"]

MIN_PER_H = 60.0
NOT_THE_TEST = "index formula only, not that regulation's test"


def specific_power(results: Results, run: int) -> tuple[Table, ...]:
    """Return mean power per display area, and per area and luminance where that is recorded."""
    frame = results.extra.get("specific_power")
    if frame is None or frame.empty:
        return ()
    frame = of_run(frame, run)
    frame = frame[frame["power_mw_per_cm2"].notna()]
    if frame.empty:
        return ()
    ends = ("power_mw_per_cm2_low", "power_mw_per_cm2_high")
    decimals = common_decimals(zip(*(frame[name].tolist() for name in ends), strict=True))

    def by_area(row: Row) -> str:
        return estimate(
            row.power_mw_per_cm2, row.power_mw_per_cm2_low, row.power_mw_per_cm2_high,
            decimals=decimals,
        )  # fmt: skip

    found = by_phase_and_device(
        results,
        frame,
        by_area,
        table_id=f"power-per-area{run_slug(results, run)}",
        caption=f"Mean power per area of the display{run_words(results, run)}; in brackets the "
        f"{percent(results.settings.coverage)} coverage interval",
        unit="mW/cm²",
        notes=("The whole device over the area of its display, phases with the screen on.",),
    )
    bright = frame[frame["power_mw_per_cd"].notna()]
    if bright.empty:
        return found
    ends = ("power_mw_per_cd_low", "power_mw_per_cd_high")
    places = common_decimals(zip(*(bright[name].tolist() for name in ends), strict=True))

    def by_luminance(row: Row) -> str:
        return estimate(
            row.power_mw_per_cd, row.power_mw_per_cd_low, row.power_mw_per_cd_high, decimals=places
        )

    return (
        *found,
        *by_phase_and_device(
            results,
            bright,
            by_luminance,
            table_id=f"power-per-luminance{run_slug(results, run)}",
            caption="Mean power per area and luminance of the display"
            f"{run_words(results, run)}; in brackets the {percent(results.settings.coverage)} "
            "coverage interval",
            unit="mW/cd",
            notes=("The luminance that was recorded is taken as exact and as that of all phases.",),
        ),
    )  # fmt: skip


def _not_full(results: Results, devices: list[str]) -> tuple[str, ...]:
    """Return which of the devices were read below 100 % at the start, so that the index is low."""
    session = results.session
    if not session.phases:
        return ()
    read = session.readings
    first = (read["phase"] == session.phases[0].id) & (read["point"] == "start")
    low = set(read.loc[first & (read["soc_pct"] < FULL_PCT), "device"].tolist())
    names = Names.of(session)
    found = [names.device[d] for d in dict.fromkeys(devices) if d in low]
    if not found:
        return ()
    return (f"Not started from full, so the index is too low: {joined(found)}.",)


def endurance_index(results: Results) -> Table | None:
    """Return the index formula of Regulation (EU) 2023/1669; ``None`` without the battery data."""
    frame = results.extra.get("endurance_index")
    if frame is None or frame.empty:
        return None
    names = Names.of(results.session)
    rows = []
    lettered = False
    for row in rows_of(frame):
        letters = dict.fromkeys(c for c in (row.class_low, row.class_high) if c)
        lettered = lettered or bool(letters)
        least = math.isnan(row.index_per_w)
        if least:
            hours = interval(row.index_per_w_low, math.nan, decimals=2)
            letter = f"{row.class_low} or better" if letters else MISSING
        else:
            hours = estimate(row.index_per_w, row.index_per_w_low, row.index_per_w_high, decimals=2)
            letter = " to ".join(letters) or MISSING
        rows.append(
            (
                names.device[row.device] + run_words(results, row.run),
                MISSING if least else h_mm(row.runtime_h * MIN_PER_H),
                number(row.nominal_voltage_v, 2),
                number(row.rated_capacity_mah),
                hours,
                *((letter,)),
            )
        )
    columns = (
        Column(name="Device"),
        Column(name="Runtime", unit="h:mm", align="right", numeric_sort=True),
        Column(name="Nominal voltage", unit="V", align="right", numeric_sort=True),
        Column(name="Rated capacity", unit="mAh", align="right", numeric_sort=True),
        Column(name="Index", unit="1/W", align="right", numeric_sort=True),
        Column(name="Letter at that index"),
    )
    keep = len(columns) if lettered else len(columns) - 1
    return Table(
        id="endurance-index",
        caption=f"Endurance index of Regulation (EU) 2023/1669: {NOT_THE_TEST}",
        columns=columns[:keep],
        rows=tuple(row[:keep] for row in rows),
        notes=(
            "Runtime in hours over nominal voltage and rated capacity, times 1000. The runtime is "
            "that of this session; a label's index comes from the regulation's own sequence. In "
            "brackets its bounds, from those of the runtime; voltage and capacity are taken as "
            "exact.",
            *_not_full(results, frame["device"].tolist()),
            *(
                ()
                if lettered
                else (
                    "No letter is given: the displays are not those of smartphones, and whether "
                    "the limits for larger ones belong to this form of the index was not checked.",
                )
            ),
        ),
    )
