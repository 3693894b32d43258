"""What makes each result uncertain, source by source.

Rates, drains since the start, projected hours, energy, mean power, runtimes and hours on a mix:
the drains of single phases are in `kit.drain.budget.contributions`; everything here rests on the
same variances, multiplied with what turns a drain into the result, and on what the step adds.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from kit.drain.energy import CD_PER_CM2, display_areas, luminances
from kit.drain.mix_rates import mix_rates
from kit.drain.phases import MEASURANDS, frame_keys, prepare
from kit.drain.power_drain import power_drains
from kit.drain.projections import SECOND_ORDER, project
from kit.drain.rated_energy import NOT_RATED, rated_energy
from kit.drain.split_phases import rows_of_parts
from kit.drain.total_drain import total_drain
from kit.drain.usage_mix import chosen_mixes
from kit.frames import result_frame

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    import pandas as pd
    from numpy.typing import NDArray

    from kit.drain.part_rows import PartRow
    from kit.drain.phases import Prepared
    from kit.drain.segments import Segments
    from kit.results import Settings
    from kit.session import Session

    Floats = NDArray[np.float64]
    Values = NDArray[np.generic]

__all__ = ["QUANTITIES", "budgets"]

QUANTITIES = (
    "displayed_rate",
    "true_charge_rate",
    "part_rate",
    "total_drain",
    "hours",
    "energy",
    "power",
    "power_per_area",
    "power_per_luminance",
    "runtime",
    "endurance_index",
    "mix_hours",
)
"""Results that have a budget here, in the order of the frame."""


@dataclass(frozen=True, kw_only=True)
class _Part:
    """Variances of one kind of result by source, flat, with the keys of its rows."""

    quantity: str
    unit: str
    run: Values
    phase: Values
    device: Values
    variance: Mapping[str, Floats]
    mix: str = ""
    part: Values | None = None


def _of_phases(ready: Prepared, quantity: str, unit: str, variance: Mapping[str, Floats]) -> _Part:
    """Return a part whose variances have shape (K, P)."""
    run, phase, device = frame_keys(ready.chains)
    order = ready.chains.in_frame_order
    return _Part(
        quantity=quantity, unit=unit, run=run, phase=phase, device=device,
        variance={source: np.asarray(order(v), float) for source, v in variance.items()},
    )  # fmt: skip


def _rates(ready: Prepared) -> Iterator[_Part]:
    for measurand in MEASURANDS:
        found = ready.drains[measurand]
        yield _of_phases(
            ready, f"{measurand}_rate", "pp/h",
            {s: v / found.exposure_h**2 for s, v in found.variance.items()},
        )  # fmt: skip


def _power(ready: Prepared, settings: Settings) -> Iterator[_Part]:
    """Return projected hours, energy and power, which rest on the drain as energy."""
    chains, session = ready.chains, ready.chains.session
    found = power_drains(ready, settings.coverage)
    variance = {
        s: v * found.factor**2
        for s, v in ready.drains["true_charge"].variance.items()
        if s != "phase_length"
    }
    variance["gauge_curve"] = found.gauge_bound_pp**2 / 3.0
    length = {"phase_length": found.length_u_pp**2}
    hours = project(ready, settings.coverage).hours
    with np.errstate(divide="ignore", invalid="ignore"):
        per_pp = hours / found.drain_pp
    yield _of_phases(
        ready, "hours", "h",
        _turned_over({s: v * per_pp**2 for s, v in {**variance, **length}.items()}, hours),
    )  # fmt: skip
    rated = [rated_energy(device) or NOT_RATED for device in session.devices]
    full, tolerance, health = (
        np.array([getattr(r, name) for r in rated])[chains.unit_device, None]
        for name in ("energy_wh", "tolerance_u", "health_u")
    )
    value = np.where(ready.flags["rises"], np.nan, found.drain_pp) / 100.0 * full
    per_wh = value / found.drain_pp
    known = {s: v * per_wh**2 for s, v in variance.items()}
    known |= {"rated_energy": (value * tolerance) ** 2, "health": (value * health) ** 2}
    yield _of_phases(ready, "energy", "Wh", known)
    known |= {"phase_length": length["phase_length"] * per_wh**2}
    yield _of_phases(ready, "power", "W", {s: v / found.exposure_h**2 for s, v in known.items()})


def _turned_over(linear: Mapping[str, Floats], hours: Floats) -> dict[str, Floats]:
    """Return the variances of hours by source, with what the straight line leaves out."""
    with np.errstate(divide="ignore", invalid="ignore"):
        bent = SECOND_ORDER * np.asarray(sum(linear.values())) ** 2 / hours**2
    return {**linear, "reciprocal": bent}


def _parts(rows: Sequence[PartRow]) -> Iterator[_Part]:
    """Return the rates of halves and turns."""
    known = [row for row in rows if row.variance]
    if not known:
        return
    sources = dict.fromkeys(source for row in known for source in row.variance)
    run, phase, device, part = (
        np.array([getattr(row, name) for row in known], dtype=kind)
        for name, kind in (("run", np.int64), ("phase", object), ("device", object),
                           ("part", object))
    )  # fmt: skip
    yield _Part(
        quantity="part_rate", unit="pp/h", run=run, phase=phase, device=device, part=part,
        variance={s: np.array([row.variance.get(s, 0.0) for row in known]) for s in sources},
    )  # fmt: skip


def _scaled(rows: dict[str, Values], quantity: str, unit: str, factor: Floats) -> dict[str, Values]:
    """Return the rows of a result that is another one times an exact factor, NaN: none."""
    keep = np.isfinite(factor)
    out = {name: values[keep] for name, values in rows.items()}
    for name in ("u", "u_source"):
        out[name] = np.asarray(out[name], dtype=np.float64) * factor[keep]
    size = int(keep.sum())
    out["quantity"] = np.full(size, quantity, dtype=object)
    out["unit_symbol"] = np.full(size, unit, dtype=object)
    return out


def _of_display(session: Session, power: dict[str, Values]) -> Iterator[dict[str, Values]]:
    """Return power per area and per luminance of the display, both taken as exact."""
    per_area = {key: 1000.0 / area for key, area in display_areas(session).items()}
    light = luminances(session)
    dark = {phase.id for phase in session.phases if phase.screen_on is False}
    pairs = list(zip(power["device"].tolist(), power["phase"].tolist(), strict=True))
    area = np.array([np.nan if p in dark else per_area.get(d, np.nan) for d, p in pairs])
    candela = np.array([light.get(d, np.nan) * CD_PER_CM2 for d, _ in pairs])
    yield _scaled(power, "power_per_area", "mW/cm²", area)
    yield _scaled(power, "power_per_luminance", "mW/cd", area / candela)


def _index(session: Session, runtime: dict[str, Values]) -> dict[str, Values]:
    """Return the endurance index: runtimes times 1000/(U·C)."""
    factor = {
        d.id: 1000.0 / (d.nominal_voltage_v * d.rated_capacity_mah)
        for d in session.devices
        if d.nominal_voltage_v and d.rated_capacity_mah
    }
    by = np.array([factor.get(device, np.nan) for device in runtime["device"].tolist()])
    return _scaled(runtime, "endurance_index", "1/W", by)


def _runtimes(ready: Prepared) -> Iterator[_Part]:
    """Return the runtimes: windows of the power-off and of the start, in hours."""
    devices = np.array(ready.chains.devices, dtype=object)
    for offs in ready.chains.off_times:
        seen = np.where(np.isfinite(offs.high), 0.0, np.nan)
        yield _Part(
            quantity="runtime", unit="h",
            run=np.full(devices.size, offs.run), phase=np.full(devices.size, "", dtype=object),
            device=devices,
            variance={
                "power_off": ((offs.high - offs.low) / 60.0) ** 2 / 12.0 + seen,
                "start": ((offs.start_high - offs.start_low) / 60.0) ** 2 / 12.0 + seen,
            },
        )  # fmt: skip


def _mixes(
    ready: Prepared, mixes: Mapping[str, Mapping[str, float]], found: Segments | None
) -> Iterator[_Part]:
    chains = ready.chains
    n = len(chains.devices)
    for name, weights in mixes.items():
        rates = mix_rates(ready, weights, found=found)
        with np.errstate(divide="ignore", invalid="ignore"):
            hours = 100.0 / rates.rate
            linear = {s: v * (hours / rates.rate) ** 2 for s, v in rates.variance.items()}
        yield _Part(
            quantity="mix_hours", unit="h", mix=name,
            run=np.repeat(np.array(chains.runs, dtype=np.int64), n),
            phase=np.full(chains.units, "", dtype=object),
            device=np.tile(np.array(chains.devices, dtype=object), len(chains.runs)),
            variance=_turned_over(linear, hours),
        )  # fmt: skip


def budgets(
    session: Session,
    settings: Settings,
    *,
    prepared: Prepared | None = None,
    mixes: Mapping[str, Mapping[str, float]] | None = None,
    found: Segments | None = None,
    parts: Sequence[PartRow] | None = None,
) -> pd.DataFrame:
    """Return what each source adds to u of every result beyond the drains of single phases.

    Parameters
    ----------
    session
        A record that passed its checks.
    settings
        The coverage probability, for what a repeated phase says about the gauge.
    prepared, mixes, found
        From `kit.drain.phases.prepare`, `kit.drain.usage_mix.chosen_mixes` and
        `kit.drain.segments.segments`, if made already.
    parts
        From `kit.drain.split_phases.rows_of_parts`, if made already.

    Returns
    -------
    DataFrame
        Columns ``kit.results.RESULT_COLUMNS["budgets"]``. ``u_source`` is what the source adds
        by itself, ``u`` all of them together, in ``unit_symbol``; ``share`` of u². A result
        without a figure has no rows; nor has a source that adds nothing.

    Notes
    -----
    Linear, GUM 5.1.2, but for hours 100/r, whose u is that of `kit.drain.projections.hours_u`:
    ``reciprocal`` is what the straight line leaves out. Their interval is that of the rate turned
    over, and skewed. What is bounded counts as a rectangle here, U adds it linearly.

    Examples
    --------
    90 to 78 % in an hour, read at once: u² of the rate is 2/12 from the resolution; the power-off
    is known to 3 + 1 minutes and the start to one, (16 + 1)/12 min²:

    >>> from kit.results import Settings
    >>> from kit.session import Assumptions
    >>> from tests.helpers.builders import make_session
    >>> s = make_session(phases={"p1": 60, "p2": 600}, readings={"a": [90, 78]},
    ...     assumptions=Assumptions(reading_delay_min=0, phase_length_u_min=0),
    ...     power_offs={"a": {"noted_min": 303, "last_on_min": 300, "first_off_min": 303}})
    >>> rows = budgets(s, Settings())
    >>> row = rows.query("quantity == 'displayed_rate' and phase == 'p1'").iloc[0]
    >>> row["source"], round(float(row["u"]), 3), float(row["share"])
    ('resolution', 0.408, 1.0)
    >>> round(60 * float(rows.query("quantity == 'runtime'")["u"].iloc[0]), 2)
    1.19
    """
    ready = prepare(session) if prepared is None else prepared
    if mixes is None:
        mixes = chosen_mixes(session, settings, prepared=ready, found=found)
    since_start = total_drain(ready, settings.coverage)
    halves = rows_of_parts(ready, settings.coverage) if parts is None else parts
    kinds = [*_rates(ready), *_parts(halves)]
    kinds += [_of_phases(ready, "total_drain", "pp", since_start.variance)]
    frames = [_rows(kind) for kind in (*kinds, *_power(ready, settings))]
    frames += _of_display(session, frames[-1])
    lasted = [_rows(kind) for kind in _runtimes(ready)]
    frames += [*lasted, *(_index(session, rows) for rows in lasted)]
    frames += [_rows(kind) for kind in _mixes(ready, mixes, found)]
    return result_frame(
        "budgets", {name: np.concatenate([frame[name] for frame in frames]) for name in frames[0]}
    )


def _rows(part: _Part) -> dict[str, Values]:
    """Return the rows of one kind of result, one for each result and source."""
    names = tuple(part.variance)
    stack = np.stack([part.variance[s] for s in names], axis=-1)
    total = stack.sum(axis=-1)
    with np.errstate(invalid="ignore"):
        row, source = np.nonzero((stack > 0.0) & (total > 0.0)[:, None])
    own, all_of_it = stack[row, source], total[row]
    return {
        "run": part.run[row],
        "phase": part.phase[row],
        "part": np.full(row.size, "", dtype=object) if part.part is None else part.part[row],
        "mix": np.full(row.size, part.mix, dtype=object),
        "device": part.device[row],
        "quantity": np.full(row.size, part.quantity, dtype=object),
        "unit_symbol": np.full(row.size, part.unit, dtype=object),
        "u": np.sqrt(all_of_it),
        "source": np.array(names, dtype=object)[source],
        "u_source": np.sqrt(own),
        "share": own / all_of_it,
    }
