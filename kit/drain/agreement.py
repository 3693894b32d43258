"""The closed form beside Monte Carlo: whether they agree for each result, or why not.

`agreement` has the drains, `agreements` everything else.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from kit.drain.energy import energy_figures
from kit.drain.intervals import interval
from kit.drain.mix_rates import mix_rates
from kit.drain.phases import AGREEMENT_DIGITS, MEASURANDS, frame_keys, prepare
from kit.drain.power_drain import power_drains
from kit.drain.projections import project
from kit.drain.segments import segments
from kit.drain.simulation import Figures
from kit.drain.split_phases import rows_of_parts
from kit.drain.total_drain import total_drain
from kit.drain.usage_mix import mix_hours
from kit.frames import result_frame
from kit.results import RESULT_COLUMNS
from kit.stats.monte_carlo import agrees, tolerance

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    import pandas as pd
    from numpy.typing import NDArray

    from kit.drain.part_rows import PartRow
    from kit.drain.phases import Prepared
    from kit.drain.segments import Segments
    from kit.drain.simulation import Simulated
    from kit.results import Measurand, Settings
    from kit.session import Session

    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]
    Texts = NDArray[np.object_]
    Values = NDArray[np.generic]

__all__ = ["ON_PURPOSE", "agreement", "agreements"]

ON_PURPOSE = "wider on purpose: "
"""How every reason begins that the kit itself gives for a wider interval."""

_FURTHER = "Monte Carlo reaches further and its interval is stated"
_LINEAR = (
    f"{ON_PURPOSE}what is bounded and the same each time (an unlogged gap, a look, the "
    "percentage at a power-off, the shape of the gauge) is added linearly"
)
_ROUNDING = f"{ON_PURPOSE}the unknown rounding of the display is taken near its worst"
_CUT = "a drain cannot be below 0, so the distribution is cut off there"
_FACTORS = f"{ON_PURPOSE}factors are rounded up and a bounded error is taken as normal"
_LOW_END = "only the low end is stated, since the rate may be next to nothing"
_HARD = f"{ON_PURPOSE}the bounds of a runtime hold always, not only with that probability"

_TEXTS = ("phase", "part", "mix", "device", "measurand", "quantity", "unit_symbol", "why")


@dataclass(frozen=True, kw_only=True)
class _Compared:
    """Closed form and draws of some results, with what explains a difference; of one shape."""

    low: Floats
    high: Floats
    drawn: Figures
    u: Floats
    reasons: tuple[tuple[Bools, str], ...] = ()
    otherwise: str = _FACTORS

    def columns(self) -> dict[str, Values]:
        """Return the columns that both frames have, of that shape."""
        mc_low, mc_high = self.drawn.low, self.drawn.high
        u = np.where(np.isnan(self.drawn.u), self.u, self.drawn.u)
        delta = tolerance(u, AGREEMENT_DIGITS)
        both_open = np.isinf(self.high) & np.isinf(mc_high)
        agree = agrees(
            self.low, np.where(both_open, 0.0, self.high),
            mc_low, np.where(both_open, 0.0, mc_high), delta,
        )  # fmt: skip
        with np.errstate(invalid="ignore"):
            wider = (self.low <= mc_low + delta) & (self.high >= mc_high - delta)
        reasons = [(agree, ""), (~wider & ~np.isnan(delta), _FURTHER), *self.reasons]
        why = np.select(
            [condition for condition, _ in reasons],
            [text for _, text in reasons],
            default=self.otherwise,
        )
        return {
            "gum_low": self.low, "gum_high": self.high, "mc_low": mc_low, "mc_high": mc_high,
            "mc_u": self.drawn.u, "tolerance": delta, "agrees": agree, "why": why.astype(object),
        }  # fmt: skip


def _drains(
    ready: Prepared, simulated: Simulated, coverage: float, measurand: Measurand
) -> tuple[_Compared, _Compared]:
    """Return the drains, and the rates."""
    found = ready.drains[measurand]
    low, high, rate_low, rate_high = interval(found, coverage)
    reasons = (
        (found.bound_pp > 0.0, _LINEAR),
        (found.variance["rounding"] > 0.0, _ROUNDING),
        (found.best_pp < 1.0, _CUT),
    )
    of_drain, of_rate = (simulated.phases[f"{measurand}_{what}"] for what in ("drain", "rate"))
    return (
        _Compared(low=low, high=high, drawn=of_drain, u=found.u_pp, reasons=reasons),
        _Compared(
            low=rate_low, high=rate_high, drawn=of_rate, u=found.rate_u_pp_per_h, reasons=reasons
        ),
    )


def _nothing_drawn(name: Literal["agreement", "agreements"]) -> pd.DataFrame:
    """Return a frame without rows."""
    others = {"run": np.int64, "agrees": np.bool_, **dict.fromkeys(_TEXTS, object)}
    return result_frame(
        name, {c: np.empty(0, dtype=others.get(c, np.float64)) for c in RESULT_COLUMNS[name]}
    )


def agreement(
    session: Session,
    settings: Settings,
    *,
    simulated: Simulated,
    prepared: Prepared | None = None,
) -> pd.DataFrame:
    """Return closed form and Monte Carlo side by side, for every drain that has both.

    Parameters
    ----------
    session, settings, prepared
        As for `kit.drain.phases.phase_drain`.
    simulated
        From `kit.drain.simulation.simulate`.

    Returns
    -------
    DataFrame
        Columns ``kit.results.RESULT_COLUMNS["agreement"]``; in pp. ``agrees``: both ends within
        ``tolerance_pp``, which is δ for one significant digit of u.

    References
    ----------
    JCGM 101:2008, 7.9.2 and 8.1 (from memory).

    Examples
    --------
    12 ± 0.80 pp by the closed form, 12 ± 0.776 drawn: less than 0.05 apart, half of the last place
    of u = 0.4, so they agree:

    >>> from kit.drain.simulation import simulate
    >>> from kit.results import Settings
    >>> from tests.helpers.builders import BARE, make_session
    >>> s = make_session(phases={"p1": 60}, readings={"a": [90, 78]}, assumptions=BARE)
    >>> drawn = simulate(prepare(s), draws=50_000, seed=1, coverage=0.95)
    >>> row = agreement(s, Settings(), simulated=drawn).iloc[0]
    >>> [round(float(row[c]), 2) for c in ("gum_high", "tolerance_pp")]
    [12.8, 0.05]
    >>> bool(row["agrees"]), row["why"]
    (True, '')
    """
    if not simulated.draws:
        return _nothing_drawn("agreement")
    ready = prepare(session) if prepared is None else prepared
    order = ready.chains.in_frame_order
    pair = [_drains(ready, simulated, settings.coverage, m)[0].columns() for m in MEASURANDS]
    keys = dict(zip(("run", "phase", "device"), frame_keys(ready.chains), strict=True))
    data: dict[str, Values] = {name: np.repeat(v, 2) for name, v in keys.items()}
    data["measurand"] = np.tile(np.array(MEASURANDS, dtype=object), data["run"].size // 2)
    for name in pair[0]:
        data[name] = np.stack([order(one[name]) for one in pair], axis=1).ravel()
    data["tolerance_pp"] = data.pop("tolerance")
    drawn = ~np.isnan(np.asarray(data["mc_low"], dtype=np.float64))
    return result_frame("agreement", {name: values[drawn] for name, values in data.items()})


def _of_phases(
    ready: Prepared, simulated: Simulated, coverage: float
) -> Iterator[tuple[str, str, _Compared]]:
    """Yield quantity, unit and comparison of what there is one of in every phase."""
    for measurand in MEASURANDS:
        yield f"{measurand}_rate", "pp/h", _drains(ready, simulated, coverage, measurand)[1]
    total = total_drain(ready, coverage)
    yield "total_drain", "pp", _Compared(
        low=total.low, high=total.high, drawn=simulated.phases["total_drain"], u=total.u,
        reasons=((total.variance["gap"] > 0.0, _LINEAR), (total.variance["rounding"] > 0.0,
                 _ROUNDING)),
    )  # fmt: skip
    hours = project(ready, coverage)
    linear = power_drains(ready, coverage).bound_pp > 0.0
    yield "hours", "h", _Compared(
        low=hours.low, high=hours.high, drawn=simulated.phases["hours"], u=hours.u,
        reasons=((hours.at_least, _LOW_END), (linear, _LINEAR)),
    )  # fmt: skip
    found = energy_figures(ready, coverage)
    yield "energy", "Wh", _Compared(
        low=found.energy_low, high=found.energy_high, drawn=simulated.phases["energy"],
        u=found.energy_u, reasons=((linear, _LINEAR),),
    )  # fmt: skip
    yield "power", "W", _Compared(
        low=found.power_low, high=found.power_high, drawn=simulated.phases["power"],
        u=found.power_u, reasons=((linear, _LINEAR),),
    )  # fmt: skip


def _of_units(
    ready: Prepared,
    simulated: Simulated,
    coverage: float,
    mixes: Mapping[str, Mapping[str, float]],
    found: Segments | None,
) -> Iterator[tuple[str, str, str, _Compared]]:
    """Yield quantity, unit, mix and comparison of what there is one of for every unit."""
    offs = ready.chains.off_times
    low, high, variance = (
        np.concatenate([getattr(run, name) for run in offs])
        for name in ("runtime_low", "runtime_high", "variance")
    )
    yield "runtime", "h", "", _Compared(
        low=low / 60.0, high=high / 60.0, drawn=simulated.runtime, u=np.sqrt(variance) / 60.0,
        otherwise=_HARD,
    )  # fmt: skip
    for name, weights in mixes.items():
        rates = mix_rates(ready, weights, found=found)
        hours = mix_hours(rates, coverage)
        yield "mix_hours", "h", name, _Compared(
            low=hours.low, high=hours.high, drawn=simulated.mixes[name], u=hours.u,
            reasons=((np.isinf(hours.high), _LOW_END), (rates.bound > 0.0, _LINEAR)),
        )  # fmt: skip


def _of_parts(
    ready: Prepared, simulated: Simulated, rows: Sequence[PartRow], found: Segments
) -> tuple[dict[str, Values], _Compared]:
    """Return keys and comparison of the rates in halves and turns."""
    chains = ready.chains
    n = len(chains.devices)
    place = {
        (chains.runs[k // n], chains.devices[k % n], chains.phases[int(found.phase[s])],
         str(found.activity[k, s])): (k, i)
        for i, s in enumerate(np.flatnonzero(~found.plain).tolist())
        for k in range(chains.units)
    }  # fmt: skip
    there = [row for row in rows if (row.run, row.device, row.phase, row.part) in place]
    where = [place[row.run, row.device, row.phase, row.part] for row in there]
    at = tuple(np.array(where, dtype=np.int64).reshape(-1, 2).T)
    rate, half, u = (
        np.array([getattr(row, name) for row in there], dtype=np.float64)
        for name in ("rate", "half_width", "u")
    )
    gap = np.array([row.variance.get("gap", 0.0) for row in there], dtype=np.float64)
    keys: dict[str, Values] = {
        name: np.array([getattr(row, name) for row in there], dtype=kind)
        for name, kind in (("run", np.int64), ("device", object), ("phase", object),
                           ("part", object))
    }  # fmt: skip
    drawn = Figures(
        u=simulated.parts.u[at], low=simulated.parts.low[at], high=simulated.parts.high[at]
    )
    return keys, _Compared(
        low=rate - half, high=rate + half, drawn=drawn, u=u, reasons=((gap > 0.0, _LINEAR),)
    )


def agreements(
    session: Session,
    settings: Settings,
    *,
    simulated: Simulated,
    prepared: Prepared | None = None,
    mixes: Mapping[str, Mapping[str, float]] | None = None,
    found: Segments | None = None,
    parts: Sequence[PartRow] | None = None,
) -> pd.DataFrame:
    """Return closed form and Monte Carlo side by side, for every result but the drains.

    Parameters
    ----------
    session, settings, simulated, prepared
        As for `agreement`.
    mixes, found
        As for `kit.drain.simulation.simulate`.
    parts
        From `kit.drain.split_phases.rows_of_parts`, if made already.

    Returns
    -------
    DataFrame
        Columns ``kit.results.RESULT_COLUMNS["agreements"]``, in ``unit_symbol``; only results that
        were drawn. ``mc_u`` is NaN for hours whose rate is not known well enough for them to have
        a standard deviation; the tolerance is then from u of the closed form.
    """
    if not simulated.draws:
        return _nothing_drawn("agreements")
    ready = prepare(session) if prepared is None else prepared
    chains = ready.chains
    run, phase, device = frame_keys(chains)
    kinds: list[dict[str, Values]] = []
    order = chains.in_frame_order

    def add(keys: dict[str, Values], texts: dict[str, str], columns: dict[str, Values]) -> None:
        known = ~np.isnan(np.asarray(columns["mc_low"], dtype=np.float64))
        known &= ~np.isnan(np.asarray(columns["gum_low"], dtype=np.float64))
        whole = {**keys, **columns}
        size = int(known.sum())
        kinds.append(
            {
                **{name: values[known] for name, values in whole.items()},
                **{name: np.full(size, text, dtype=object) for name, text in texts.items()},
            }
        )

    for quantity, unit, one in _of_phases(ready, simulated, settings.coverage):
        add(
            {"run": run, "phase": phase, "device": device},
            {"part": "", "mix": "", "quantity": quantity, "unit_symbol": unit},
            {name: order(values) for name, values in one.columns().items()},
        )
    n = len(chains.devices)
    units: dict[str, Values] = {
        "run": np.repeat(np.array(chains.runs, dtype=np.int64), n),
        "device": np.tile(np.array(chains.devices, dtype=object), len(chains.runs)),
    }
    for quantity, unit, mix, one in _of_units(
        ready, simulated, settings.coverage, mixes or {}, found
    ):
        texts = {"phase": "", "part": "", "mix": mix, "quantity": quantity, "unit_symbol": unit}
        add(units, texts, one.columns())
    stretches = segments(ready, coverage=settings.coverage) if found is None else found
    rows = rows_of_parts(ready, settings.coverage) if parts is None else parts
    keys, halves = _of_parts(ready, simulated, rows, stretches)
    add(keys, {"mix": "", "quantity": "part_rate", "unit_symbol": "pp/h"}, halves.columns())
    return result_frame(
        "agreements", {name: np.concatenate([kind[name] for kind in kinds]) for name in kinds[0]}
    )
