"""Rules on rates: out of line with their row and column, or beyond plausible power."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from kit.checks.rule import COMMON_PRACTICE, DERIVED, Doubt, rule
from kit.checks.text import number, pct, pp

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from kit.checks.facts import Facts

    Floats = NDArray[np.float64]

__all__ = ["RULES", "median_polish"]

MIN_DEVICES = 3
"""From three devices on, a rate can be told from its row and its column."""

POLISH_ROUNDS = 10
RESIDUAL_LIMIT = 3.5
"""A residual of the log rate beyond this many scales is out of line."""

LEAST_SCALE = 0.12
"""Scatter of log rates between devices and activities that is ordinary."""

ROUNDING_U_PP = 0.45
"""Standard uncertainty of a drain by rounding and timing (pp)."""

LEAST_DRAIN_PP = 0.5
"""A drain read as 0 stands for about this much (pp) in a logarithm."""

LEAST_DIFFERENCE_PP = 2.0
"""A drain within this of its expectation (pp) is never out of line."""

MAD_TO_SIGMA = 1.4826
"""Median absolute deviation → standard deviation of a normal distribution."""


def _row_medians(table: Floats) -> Floats:
    """Return the median of each row, NaN left out, as a column; NaN for a row without a value."""
    ordered = np.sort(table, axis=1)  # NaN last
    known = np.count_nonzero(~np.isnan(ordered), axis=1)
    at = np.arange(table.shape[0])
    low = ordered[at, np.maximum(known - 1, 0) // 2]
    high = ordered[at, known // 2]
    return np.asarray((low + high)[:, None] / 2.0)


def median_polish(table: Floats) -> Floats:
    """Return row effect + column effect of a table with gaps, by medians.

    Parameters
    ----------
    table
        Shape (rows, columns), NaN for a missing cell.

    Returns
    -------
    ndarray, shape (rows, columns)
        The fitted table; NaN in rows and columns without any value.

    References
    ----------
    Tukey, J. W. (1977), Exploratory Data Analysis, ch. 10 (from memory).

    Examples
    --------
    Rows 1, 2, 4 plus columns 0, 10, 20, with one cell 5 too high: the fit does not see it.

    >>> t = np.array([[1.0, 11, 21], [2, 17, 22], [4, 14, 24]])
    >>> median_polish(t).tolist()
    [[1.0, 11.0, 21.0], [2.0, 12.0, 22.0], [4.0, 14.0, 24.0]]
    """
    rows = np.zeros((table.shape[0], 1))
    columns = np.zeros((1, table.shape[1]))
    for _ in range(POLISH_ROUNDS):
        rows = rows + _row_medians(table - rows - columns)
        columns = columns + _row_medians((table - rows - columns).T).T
    return np.asarray(rows + columns)


def _place(facts: Facts, run: int, p: int, device: int) -> tuple[int | None, str]:
    return int(facts.end_line[run, p, device]) or None, facts.column(device)


@rule(
    "rate-out-of-line",
    "caution",
    sees="A rate far off what the same device in other phases and the other devices in the same "
    "phase lead one to expect (median polish of log rates, three devices or more).",
    to_do="Re-check both readings of that phase; if they stand, look for what was different.",
    source=DERIVED,
)
def rate_out_of_line(facts: Facts) -> Iterator[Doubt]:
    """Yield rates whose residual exceeds 3.5 √(s² + (0.45/d)²) and 2 pp.

    ``s = max(0.12, 1.4826 MAD)``. Derived in docs/measurement.md.
    """
    for run, number_ in enumerate(facts.runs):
        drain = np.where(facts.drain[run] < 0, np.nan, facts.drain[run])
        hours = facts.spans.length[run][:, None] / 60.0
        usable = ~np.isnan(drain) & (hours > 0)
        if (usable.any(axis=0)).sum() < MIN_DEVICES or (usable.any(axis=1)).sum() < 2:
            continue
        floor = np.maximum(drain, LEAST_DRAIN_PP)
        log_rate = np.where(usable, np.log(floor / np.where(usable, hours, 1.0)), np.nan)
        fit = median_polish(log_rate)
        residual = log_rate - fit
        mad = float(np.median(np.abs(residual[usable])))
        scale = max(LEAST_SCALE, MAD_TO_SIGMA * mad)
        limit = RESIDUAL_LIMIT * np.sqrt(scale**2 + (ROUNDING_U_PP / floor) ** 2)
        expected = np.exp(fit) * hours
        odd = usable & (np.abs(residual) > limit) & (np.abs(drain - expected) > LEAST_DIFFERENCE_PP)
        for p, device in np.argwhere(odd).tolist():
            line, column = _place(facts, run, p, device)
            name, phase = facts.devices[device], facts.phases[p]
            yield Doubt(
                severity="caution",
                line=line,
                column=column,
                found=f"a drain of {pp(drain[p, device])} for '{name}' in '{phase}', from "
                f"{pct(facts.start_pct[run, p, device])} to {pct(facts.end_pct[run, p, device])}",
                expected=f"about {pp(expected[p, device])}, from its other phases and from the "
                "other devices in this one",
                remedy="Compare both readings with the footage (a confused digit, another row?). "
                "If they stand, look for what was different: an update, a missed start, another "
                "brightness; say so in a note, and leave this drain out of comparisons.",
                device=name,
                phase=phase,
                run=number_,
            )


@rule(
    "rate-implausible",
    "caution",
    sees="A rate beyond plausible power: (drain − 1 pp) per hour above plausible_power_w_per_wh "
    "(0.8 W per Wh, 80 pp/h, unless stated).",
    to_do="Re-check the readings and the length of the phase.",
    source=COMMON_PRACTICE,
)
def rate_implausible(facts: Facts) -> Iterator[Doubt]:
    limit = 100.0 * facts.session.assumptions.plausible_power_w_per_wh
    hours = np.where(facts.spans.length > 0, facts.spans.length, np.nan)[:, :, None] / 60.0
    for run, p, device in np.argwhere((facts.drain - 1.0) / hours > limit).tolist():
        line, column = _place(facts, run, p, device)
        name, phase = facts.devices[device], facts.phases[p]
        wh = facts.session.devices[device].rated_energy_wh
        power = "" if wh is None else f", {number(facts.rate[run, p, device] / 100.0 * wh)} W"
        yield Doubt(
            severity="caution",
            line=line,
            column=column,
            found=f"{pp(facts.drain[run, p, device])} in "
            f"{number(float(hours[run, p, 0]) * 60)} min for '{name}' in '{phase}', "
            f"{facts.rate[run, p, device]:.0f} pp/h{power}",
            expected=f"at most {number(limit)} pp/h (plausible_power_w_per_wh = {limit / 100:g})",
            remedy="Compare both readings and the length of the phase with the footage. If they "
            "stand, the gauge dropped by itself: its percentages are no measure of charge there.",
            device=name,
            phase=phase,
            run=facts.runs[run],
        )


RULES = (rate_out_of_line, rate_implausible)
