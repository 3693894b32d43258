"""Where the uncertainty of the drains comes from, in numbers and in words.

`contributions` splits every u by source; `budget` says for each source what is assumed, on what
basis, and how much it matters in this session.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from kit.drain.budget_lines import Line, other_lines
from kit.drain.model import SOURCES
from kit.drain.phases import MEASURANDS, frame_keys, prepare
from kit.frames import frame_of_rows, result_frame

if TYPE_CHECKING:
    from collections.abc import Iterator

    import pandas as pd
    from numpy.typing import NDArray

    from kit.drain.phases import Prepared
    from kit.results import Settings
    from kit.session import Assumptions, Session

__all__ = ["budget", "contributions"]


def contributions(
    session: Session, settings: Settings, *, prepared: Prepared | None = None
) -> pd.DataFrame:
    """Return what each source adds to u of each drain.

    Parameters
    ----------
    session, settings, prepared
        As for `phase_drain`.

    Returns
    -------
    DataFrame
        Columns ``kit.results.RESULT_COLUMNS["contributions"]``; ``u_pp`` in pp, ``share`` of
        u² of the rate times the duration, so that the length of the phase has its place.

    Examples
    --------
    12 pp between two readings, nothing else uncertain: all of u = √(2/12) = 0.408 pp:

    >>> from kit.results import Settings
    >>> from tests.helpers.builders import BARE, make_session
    >>> s = make_session(phases={"p1": 60}, readings={"a": [90, 78]}, assumptions=BARE)
    >>> row = contributions(s, Settings()).iloc[0]
    >>> row["source"], round(float(row["u_pp"]), 3), float(row["share"])
    ('resolution', 0.408, 1.0)
    """
    ready = prepare(session) if prepared is None else prepared
    chains = ready.chains
    run, phase, device = frame_keys(chains)
    parts: list[dict[str, NDArray[np.generic]]] = []
    for measurand in MEASURANDS:
        variance = ready.drains[measurand].variance
        names = tuple(s for s in SOURCES if s in variance)
        stack = np.stack([chains.in_frame_order(variance[s]) for s in names], axis=1)
        total = stack.sum(axis=1)
        keep = (stack > 0.0) & (total > 0.0)[:, None]
        row, source = np.nonzero(keep)
        parts.append(
            {
                "run": run[row],
                "phase": phase[row],
                "device": device[row],
                "measurand": np.full(row.size, measurand, dtype=object),
                "source": np.array(names, dtype=object)[source],
                "u_pp": np.sqrt(stack[row, source]),
                "share": stack[row, source] / total[row],
                "place": row,
            }
        )
    data = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    order = np.argsort(data.pop("place"), kind="stable")
    return result_frame("contributions", {name: data[name][order] for name in data})


_TRACE_PP = 0.005
"""Contributions below this do not count for the median effect of a source (pp)."""

_ASSUMED = "default of the kit, an assumption, not measured"
_STATED = "stated in the setup file"
_GUM = "JCGM 100:2008"
_DERIVED = "derived in docs/measurement.md"


def _basis(session: Session, *names: str) -> str:
    stated = session.assumptions.stated
    given = [name in stated for name in names]
    if all(given):
        return _STATED
    return f"{_STATED} in part, else {_ASSUMED}" if any(given) else _ASSUMED


def _in_part(stated: list[bool], other: str) -> str:
    """Return the basis of what is stated for some devices and not for others."""
    if all(stated):
        return _STATED
    return f"{_STATED} in part, else {other}" if any(stated) else other


def _steps_text(ready: Prepared) -> str:
    steps = sorted(set(ready.chains.observations.step.tolist()))
    return " / ".join(f"{step:g}" for step in steps)


def _lines(ready: Prepared) -> Iterator[Line]:
    session = ready.chains.session
    given = session.assumptions
    roundings = {d.gauge.rounding for d in session.devices}
    stated_steps = [d.gauge.step_pct is not None for d in session.devices]
    yield Line(
        source="resolution of the display", sources=("resolution",),
        description="the fraction that a displayed percentage does not show, once per reading",
        distribution="rectangular, one step wide", value=_steps_text(ready), unit="pp",
        basis=_in_part(stated_steps, "steps seen in the readings"),
        reference=f"{_GUM}, F.2.2.1",
    )  # fmt: skip
    unknown = [d.gauge.rounding == "unknown" for d in session.devices]
    words = ["not known" if r == "unknown" else r for r in sorted(roundings)]
    yield Line(
        source="rounding of the display", sources=("rounding",),
        description="truncated, nearest or rounded up: one offset per device, which cancels "
        "between two of its readings but not from a known full charge or to the power-off",
        distribution="−½, 0 or +½ step, equally likely" if any(unknown) else "known",
        value=" / ".join(words), unit="",
        basis=_in_part([not u for u in unknown], "not recorded"), reference=_DERIVED,
    )  # fmt: skip
    yield Line(
        source="time of reading", sources=("reading_time",),
        description="a reading is made up to this long after the end of its phase, while the "
        "next activity runs; corrected by the rate, the rest is uncertain",
        distribution="rectangular from 0", value=f"{given.reading_delay_min:g}{_lag(given)}",
        unit="min", basis=_basis(session, *_timing(given)), reference=_DERIVED,
    )  # fmt: skip
    yield Line(
        source="gauge deviation", sources=("gauge",),
        description="difference between displayed and usable charge, alike at neighbouring "
        "percentages; counts for true-charge drain only",
        distribution="± half-width, fading over a distance",
        value=f"{given.gauge_error_pp:g} over {given.gauge_correlation_pp:g}", unit="pp",
        basis=_basis(session, "gauge_error_pp", "gauge_correlation_pp"), reference=_DERIVED,
    )  # fmt: skip
    yield Line(
        source="unlogged time", sources=("gap",),
        description="between two phases the device drained at anything from 0 to this multiple "
        "of its busiest rate; half is taken off, half is added linearly",
        distribution="rectangular, added linearly", value=f"{given.gap_rate_factor:g}",
        unit="× busiest rate", basis=_basis(session, "gap_rate_factor"), reference=_DERIVED,
    )  # fmt: skip
    yield Line(
        source="charge at the start", sources=("full_start",),
        description="kept on the charger for more than two hours after it was full",
        distribution="rectangular", value="±2", unit="pp",
        basis="a guess, applied where the conditions say so", reference="no source",
    )  # fmt: skip
    yield Line(
        source="display held at 100 %", sources=("full_hold",),
        description="the display may stay at 100 % this long while the charge falls",
        distribution="rectangular from 0", value=f"{given.full_hold_max_min:g}", unit="min",
        basis=_basis(session, "full_hold_max_min"), reference=_DERIVED,
    )  # fmt: skip
    yield Line(
        source="percentage at the power-off", sources=("off_percentage",),
        description="what the display would have shown when the device powered off; for "
        "displayed drain only, since the usable charge is then 0 by definition",
        distribution="rectangular from 0", value=f"{given.off_pct_max:g}", unit="pp",
        basis=_basis(session, "off_pct_max"), reference=_DERIVED,
    )  # fmt: skip
    yield Line(
        source="looking at the device", sources=("wake",),
        description="each look wakes a device whose screen is off, and costs this much",
        distribution="rectangular, added linearly", value=f"{given.wake_drain_pp:g}",
        unit="pp per look", basis=_basis(session, "wake_drain_pp"), reference=_DERIVED,
    )  # fmt: skip
    yield Line(
        source="length of the phase", sources=("phase_length",),
        description="for rates only; also the minute of the power-off in a phase cut short",
        distribution="triangular (two noted minutes) or as stated",
        value=_length_text(ready), unit="min",
        basis=_STATED if given.phase_length_u_min is not None else "how the ends were noted",
        reference=f"{_GUM}, 4.3.9",
    )  # fmt: skip
    yield from other_lines(session, ready.chains.off_times)


def _lag(given: Assumptions) -> str:
    lag = given.display_lag_min
    return f"; display behind by up to {lag:g}" if lag > 0.0 else ""


def _timing(given: Assumptions) -> tuple[str, ...]:
    return ("reading_delay_min", "display_lag_min")[: 2 if given.display_lag_min > 0.0 else 1]


def _length_text(ready: Prepared) -> str:
    u = ready.chains.length_u_h[np.isfinite(ready.chains.length_h)] * 60.0
    if not u.size:
        return "not known"
    low, high = float(u.min()), float(u.max())
    return f"u = {low:.2g}" if high - low < 0.005 else f"u = {low:.2g} to {high:.2g}"


def budget(
    session: Session, settings: Settings, *, prepared: Prepared | None = None
) -> pd.DataFrame:
    """Return the uncertainty budget in words: one row per source.

    Parameters
    ----------
    session, settings, prepared
        As for `kit.drain.phases.phase_drain`.

    Returns
    -------
    DataFrame
        Columns ``kit.results.RESULT_COLUMNS["budget"]``. ``effect_pp``: median u that the source
        adds to the drains in which it has a part (pp), NaN where it has none in this session;
        true-charge drain, or displayed drain for the percentage at the power-off. ``basis``
        says whether the value was stated or is the kit's default.

    Examples
    --------
    >>> from kit.results import Settings
    >>> from tests.helpers.builders import BARE, make_session
    >>> s = make_session(phases={"p1": 60}, readings={"a": [90, 78]}, assumptions=BARE)
    >>> row = budget(s, Settings()).iloc[0]
    >>> row["source"], row["value"], round(float(row["effect_pp"]), 3), row["reference"]
    ('resolution of the display', '1', 0.408, 'JCGM 100:2008, F.2.2.1')
    """
    ready = prepare(session) if prepared is None else prepared
    rows = []
    for line in _lines(ready):
        parts = [
            ready.drains[m].variance[s]
            for s in line.sources
            for m in reversed(MEASURANDS)
            if s in ready.drains[m].variance
        ]
        u = np.sqrt(parts[0][parts[0] > _TRACE_PP**2]) if parts else np.zeros(0)
        rows.append(
            (line.source, line.description, line.distribution, line.value, line.unit,
             float(np.median(u)) if u.size else np.nan, line.basis, line.reference)
        )  # fmt: skip
    return frame_of_rows("budget", rows)
