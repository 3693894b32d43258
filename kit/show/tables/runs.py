"""Tables of devices that ran several times, without the normal distribution and with windows."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kit.display import Column, Table
from kit.show.cells import Names, rows_of
from kit.show.curves import whose
from kit.units import MISSING, NO_BREAK, h_mm, interval, number, percent, quantity, with_u

if TYPE_CHECKING:
    import pandas as pd

    from kit.results import Results

__all__ = ["group_pairs", "run_means", "survival"]

MIN_PER_H = 60.0
LEAST_P = 0.001


def _minutes(hours: float) -> str:
    return h_mm(hours * MIN_PER_H)


def p_text(p: float) -> str:
    """Return a p-value in two significant digits; ``< 0.001`` below that.

    Examples
    --------
    >>> p_text(0.1), p_text(0.0246), p_text(0.0001).replace(NO_BREAK, " ")
    ('0.10', '0.025', '< 0.001')
    """
    if p != p:
        return MISSING
    if p < LEAST_P:
        return f"<{NO_BREAK}{LEAST_P:g}"
    return number(p, 2 if p >= 0.1 else 3)


def survival(results: Results) -> Table | None:
    """Return the share of runs still on after each window of power-offs; ``None`` without any."""
    frame = results.extra.get("survival")
    if frame is None or frame.empty:
        return None
    bands = bool(frame["share_on_low"].notna().any())
    rows = [
        (
            whose(results, row),
            f"{_minutes(row.time_h_low)} to {_minutes(row.time_h_high)}",
            number(row.at_risk),
            number(row.events),
            number(row.share_on * 100),
            interval(row.share_on_low * 100, row.share_on_high * 100, decimals=0),
        )
        for row in rows_of(frame)
    ]
    columns = (
        Column(name="Runs of"),
        Column(name="The share falls between", unit="h:mm"),
        Column(name="On before", align="right", numeric_sort=True),
        Column(name="Powered off", align="right", numeric_sort=True),
        Column(name="Still on after", unit="% of runs", align="right", numeric_sort=True),
        Column(name="Interval", unit="%", align="right"),
    )
    keep = len(columns) if bands else len(columns) - 1
    return Table(
        id="survival",
        caption="Share of the runs still on (product-limit estimate over the windows in which the "
        "power-offs lie)"
        + (f"; {percent(results.settings.coverage)} interval" if bands else ""),
        columns=columns[:keep],
        rows=tuple(row[:keep] for row in rows),
        notes=_curve_notes(results, frame),
    )  # fmt: skip


def _curve_notes(results: Results, frame: pd.DataFrame) -> tuple[str, ...]:
    """Return what the shares rest on where windows overlap, runs were cut short or are unlike."""
    notes = []
    shared = frame["at_risk"].isna()
    if shared.any() or (frame["events"] > 1).any():
        notes.append(
            "Where windows of several runs overlap, the estimate has the share fall where they do; "
            "each power-off may lie anywhere in its own window."
        )
    if shared.any():
        notes.append("Where they overlap by turns, only the share can be stated.")
    means = results.extra.get("restricted_means")
    if means is not None and (means["observed"] < means["runs"]).any():
        notes.append(
            "A run that was still on within the window of a power-off counts as on beyond it."
        )
    if (frame["of"] != "device").any() and len(results.session.runs) > 1:
        notes.append(
            "Runs of one unit are more alike than runs of two, and those of unlike devices less, "
            "so no interval is stated for several of them together."
        )
    return tuple(notes)


def run_means(results: Results) -> Table | None:
    """Return means over the runs that count runs not seen to their end; ``None`` without any."""
    frame = results.extra.get("restricted_means")
    if frame is None or frame.empty:
        return None
    fits = results.extra.get("group_fits")
    fitted = {} if fits is None else {row.device: row for row in rows_of(fits)}
    horizon = _minutes(float(frame["horizon_h"].iloc[0]))
    rows = []
    for row in rows_of(frame):
        fit = fitted.get(row.device)
        mean = with_u(row.mean_h, row.mean_h_u, "h")
        rows.append(
            (
                whose(results, row),
                f"{row.observed:.0f} of {row.runs:.0f}",
                quantity(row.mean_h, "h", 2) if mean == MISSING else mean,
                _minutes(row.median_h),
                MISSING if fit is None else with_u(fit.mean_h, fit.mean_h_u, "h"),
                MISSING if fit is None else number(fit.sd_h, 2),
            )
        )
    columns = (
        Column(name="Runs of"),
        Column(name="Runs seen to their end"),
        Column(name="Mean up to there", align="right", numeric_sort=True),
        Column(name="Half were off at", unit="h:mm", align="right", numeric_sort=True),
        Column(name="Fitted mean", align="right", numeric_sort=True),
        Column(name="Fitted scatter", unit="h", align="right", numeric_sort=True),
    )
    keep = len(columns) if fitted else len(columns) - 2
    return Table(
        id="run-means",
        caption=f"Mean runtime counted up to {horizon}"
        + (", and fitted to the power-offs' windows" if fitted else ""),
        columns=columns[:keep],
        rows=tuple(row[:keep] for row in rows),
        notes=_mean_notes(frame, fitted=bool(fitted)),
    )


def _mean_notes(frame: pd.DataFrame, *, fitted: bool) -> tuple[str, ...]:
    notes = ["u is the standard uncertainty of the mean."]
    if (frame["mean_h_u"].isna() & (2 * frame["observed"] < frame["runs"])).any():
        notes.append(
            "There is none where most runs were not seen to their end: the few that ended do not "
            "show how they scatter, and the mean counts the others only up to that time."
        )
    if (frame["of"] != "device").any() and frame["mean_h_u"].isna().any():
        notes.append("Several runs of several units, or of unlike devices, have none either.")
    if fitted:
        notes.append(
            "The fit (normal distribution, maximum likelihood) divides by the number of runs and "
            "so states less scatter than the table of means."
        )
    return (" ".join(notes),)


def group_pairs(results: Results) -> Table | None:
    """Return how the runs of every two devices compare, run for run; ``None`` without any."""
    frame = results.extra.get("group_pairs")
    if frame is None or frame.empty:
        return None
    names = Names.of(results.session)
    rows = [
        (
            names.device[row.device_a],
            names.device[row.device_b],
            f"{row.pairs_a_longer} : {row.pairs_b_longer}",
            number(row.pairs_open),
            p_text(row.p_exact),
            p_text(row.p_least),
            p_text(row.log_rank_p),
        )
        for row in rows_of(frame)
    ]
    return Table(
        id="group-pairs",
        caption="Every run of one device against every run of another",
        columns=(
            Column(name="First device"),
            Column(name="Second device"),
            Column(name="Pairs of runs won, first : second"),
            Column(name="Open", align="right", numeric_sort=True),
            Column(name="p, all ways counted", align="right", numeric_sort=True),
            Column(name="Least p possible", align="right", numeric_sort=True),
            Column(name="p, log-rank", align="right", numeric_sort=True),
        ),
        rows=tuple(rows),
        notes=(
            "p: how often chance alone would give so lopsided a count if the two devices were "
            "alike, every way of sharing out the runs counted; not corrected for several pairs. "
            "The log-rank test is made for many runs and says too much with few.",
        ),
    )
