"""Rates of earlier sessions, for the forecast of a new one.

A rate counts for a device with the same id and an activity of the same name. Where a session, or
several, have it more than once, the mean weighted by 1/u² is taken; its uncertainty is not less
than the scatter of the single rates allows.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from math import isfinite, sqrt
from typing import TYPE_CHECKING

import numpy as np

from kit.errors import Finding, RecordError, RundownError
from kit.plan.planned import DeviceForecast
from kit.read.cells import quoted

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from kit.plan.planned import Plan
    from kit.results import Measurand
    from kit.session import Session

__all__ = ["pooled", "session_rates", "with_earlier"]

Rates = dict[tuple[str, str], list[tuple[float, float]]]

USABLE = ("measured", "died")


def session_rates(session: Session, *, measurand: Measurand = "displayed") -> Rates:
    """Return (device id, activity) → rates with u (pp/h) of one session, all its runs.

    Rates of phases that were measured and of parts of limited phases (of a rotation the limited
    part alone: the other one's rate is taken from a plain phase).

    Parameters
    ----------
    measurand
        Of what; from full to empty the errors of a gauge cancel in the displayed percentage,
        over part of the way they do not. To parts, which are displayed, u = A·√(2/3)/exposure is
        added for ``true_charge``: both ends anywhere within ± A (`Assumptions.gauge_error_pp`).
    """
    from kit.drain.phases import phase_drain
    from kit.drain.split_phases import parts
    from kit.results import Settings

    settings = Settings()
    activity = {p.id: p.activity for p in session.phases if not p.is_split}
    found: Rates = {}
    drains = phase_drain(session, settings)
    drains = drains[(drains["measurand"] == measurand) & drains["status"].isin(USABLE)]
    split = parts(session, settings)
    counted = {
        (p.id, part)
        for p in session.phases
        for part in (p.parts or ())[: 1 if p.kind == "rotation" else 2]
    }
    mine = [
        device != "" and (phase, part) in counted
        for device, phase, part in zip(split["device"], split["phase"], split["part"], strict=True)
    ]
    split = split.loc[mine]
    gauge = session.assumptions.gauge_error_pp if measurand == "true_charge" else 0.0
    exposure = split["exposure_h"].to_numpy(dtype=np.float64)
    gauge_u = gauge * sqrt(2.0 / 3.0) / np.where(exposure > 0.0, exposure, np.nan)
    rows = [
        *zip(
            drains["device"], drains["phase"].map(activity), drains["rate_pp_per_h"],
            drains["rate_pp_per_h_u"], strict=True,
        ),
        *zip(
            split["device"], split["part"], split["rate_pp_per_h"],
            np.hypot(split["rate_pp_per_h_u"].to_numpy(dtype=np.float64), gauge_u), strict=True,
        ),
    ]  # fmt: skip
    for device, name, rate, u in rows:
        if isinstance(name, str) and name and isfinite(rate) and isfinite(u) and rate > 0 and u > 0:
            found.setdefault((str(device), name), []).append((float(rate), float(u)))
    return found


def pooled(rates: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """Return the weighted mean of rates and its standard uncertainty.

    Parameters
    ----------
    rates
        (rate, u) pairs, u above 0.

    Notes
    -----
    Weights 1/u²; u of the mean √(1/Σ1/u²), enlarged by √(χ²/(n − 1)) where the rates scatter
    more than their u allow (the Birge ratio; common practice).

    Examples
    --------
    10 ± 1 and 13 ± 1: mean 11.5, u = 0.707, χ² = 4.5, so u = 0.707 × 2.12 = 1.5.

    >>> pooled([(10.0, 1.0), (13.0, 1.0)])
    (11.5, 1.5)
    """
    weights = [1.0 / u**2 for _, u in rates]
    total = sum(weights)
    mean = sum(w * rate for w, (rate, _) in zip(weights, rates, strict=True)) / total
    chi2 = sum(((rate - mean) / u) ** 2 for rate, u in rates)
    birge = sqrt(max(1.0, chi2 / (len(rates) - 1))) if len(rates) > 1 else 1.0
    return mean, sqrt(1.0 / total) * birge


def with_earlier(plan: Plan, folder: Path, file: str) -> tuple[Plan, tuple[Finding, ...]]:
    """Return the plan with the rates of the earlier sessions that it names.

    A rate that the plan states itself is kept.

    Parameters
    ----------
    folder
        Where the plan file is; the names are taken from there.
    file
        Name of the plan file, for the findings.
    """
    from kit.read.record import read_record

    rates: Rates = {}
    runs: Counter[str] = Counter()
    findings: list[Finding] = []
    for number, name in enumerate(plan.earlier, start=1):
        try:
            session, _ = read_record(folder / name)
        except RundownError as error:
            findings.append(_unreadable(file, number, name, error))
            continue
        found = session_rates(session)
        for key, values in found.items():
            rates.setdefault(key, []).extend(values)
        for name_of in {device for device, _ in found}:
            runs[name_of] += len(session.runs)
    forecasts = dict(plan.forecasts)
    for device in plan.devices:
        forecasts[device.id] = _merged(
            forecasts.get(device.id, DeviceForecast()),
            {activity: pooled(v) for (d, activity), v in rates.items() if d == device.id},
            runs[device.id],
        )
    return replace(plan, forecasts=forecasts), tuple(findings)


def _unreadable(file: str, number: int, name: str, error: RundownError) -> Finding:
    if isinstance(error, RecordError):
        count = sum(f.severity == "error" for f in error.findings)
        found = f"{quoted(name)}, which does not pass ({count} errors)"
    else:
        found = f"{quoted(name)}: {error}"
    return Finding(
        rule="plan-earlier", severity="error", file=file, column="plan.earlier",
        found=f"entry {number}, {found}",
        expected="the folder of a session that passes `rundown check`, relative to the plan file",
        remedy="Correct the name, mend that record, or leave it out.",
    )  # fmt: skip


def _merged(
    known: DeviceForecast, found: Mapping[str, tuple[float, float]], runs: int
) -> DeviceForecast:
    new = {a: v for a, v in found.items() if a not in known.rates_pp_per_h}
    return replace(
        known,
        rates_runs=max(known.rates_runs, runs),
        rates_pp_per_h={**known.rates_pp_per_h, **{a: rate for a, (rate, _) in new.items()}},
        rates_u={**known.rates_u, **{a: u for a, (_, u) in new.items()}},
        sources={**known.sources, **dict.fromkeys(new, "earlier")},
    )
