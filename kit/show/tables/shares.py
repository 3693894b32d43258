"""Tables of what makes each kind of result uncertain, source by source."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kit.display import Column, Table
from kit.show.flag_words import SOURCE_WORDS, source_text
from kit.units import MISSING, NO_BREAK, number, u_decimals

if TYPE_CHECKING:
    from collections.abc import Mapping

    from kit.results import Results

__all__ = ["SHARE_COLUMNS", "mean_shares", "shares"]

SHARE_COLUMNS = {
    "displayed_rate": ("Rate by the display", "pp/h"),
    "true_charge_rate": ("Rate of true charge", "pp/h"),
    "part_rate": ("Rate in a half or turn", "pp/h"),
    "total_drain": ("Drain since the start", "pp"),
    "hours": ("Projected hours", "h"),
    "mix_hours": ("Hours on a mix", "h"),
    "energy": ("Energy", "Wh"),
    "power": ("Mean power", "W"),
    "power_per_area": ("Power per area", "mW/cm²"),
    "power_per_luminance": ("Power per luminance", "mW/cd"),
    "runtime": ("Runtime", "h"),
    "endurance_index": ("Endurance index", "1/W"),
}

MEAN_SHARE_COLUMNS = {
    "mean_runtime": ("Mean runtime", "h"),
    "mean_drain": ("Mean drain", "pp"),
    "mean_runtime_of_kind": ("Mean runtime of a kind", "h"),
    "mean_drain_of_kind": ("Mean drain of a kind", "pp"),
}


def shares(results: Results) -> Table | None:
    """Return the share that each source has in u² of each kind of result; ``None`` without any."""
    return _shares(
        results,
        "shares",
        "What makes each kind of result uncertain",
        SHARE_COLUMNS,
        " A runtime still open at the end has no u.",
    )


def mean_shares(results: Results) -> Table | None:
    """Return the same of means over runs and of kinds of device; ``None`` without any."""
    note = " Each run by itself: its window or resolution, which no number of runs averages out."
    caption = "What makes means over the runs uncertain"
    return _shares(results, "mean-shares", caption, MEAN_SHARE_COLUMNS, note)


def _shares(
    results: Results, table: str, caption: str, columns: Mapping[str, tuple[str, str]], note: str
) -> Table | None:
    frame = results.extra.get("budgets")
    if frame is None or not frame["quantity"].isin(list(columns)).any():
        return None
    frame = frame[frame["quantity"].isin(list(columns))]
    there = set(frame["quantity"])
    kinds = [name for name in columns if name in there]
    each = frame.drop_duplicates(["run", "phase", "part", "mix", "device", "quantity"])
    count = each.groupby("quantity")["u"].count()
    middle = each.groupby("quantity")["u"].median()
    share = frame.groupby(["source", "quantity"])["share"].sum()
    rows = []
    for source in SOURCE_WORDS:
        if source not in share.index.get_level_values("source"):
            continue
        mean = [share.get((source, kind), 0.0) / count[kind] for kind in kinds]
        rows.append((source_text(source), *(_share(value) for value in mean)))
    us = (number(float(middle[kind]), u_decimals(float(middle[kind]))) for kind in kinds)
    rows.append(
        ("all together: middle u",
         *(f"{u}{NO_BREAK}{columns[k][1]}" for u, k in zip(us, kinds, strict=True)))
    )  # fmt: skip
    return Table(
        id=table,
        caption=f"{caption}: mean share of each source in u², and the standard uncertainty u that "
        "they make together",
        columns=(
            Column(name="Source"),
            *(Column(name=columns[kind][0], unit="%", align="right") for kind in kinds),
        ),
        rows=tuple(rows),
        notes=(
            f"{MISSING}: no part in it. Each single result, with u and every source of it, is in "
            f"the table “budgets” of the CSV files.{note}",
        ),
    )


def _share(value: float) -> str:
    if value <= 0.0:
        return MISSING
    percent = 100.0 * value
    return "below 1" if percent < 1.0 else number(percent)
