"""How much of the spread of runtimes is resolution, run, session and unit.

Components of variance of ln(runtime) by moments: each mean square is what its own component adds
on top of those below it. An estimate below zero is printed as it is found and counted as none; it
says that the component is too small to be seen, not that it is not there.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from kit.units import count

if TYPE_CHECKING:
    from collections.abc import Sequence

    from kit.compare.cells import Cells, RunScatter
    from kit.compare.field import Field
    from kit.compare.units import Unit

__all__ = ["Component", "components_of", "finished"]

FEW_DOF = 4
"""Degrees of freedom below which an estimate is called rough (36 % uncertain at four)."""


@dataclass(frozen=True, kw_only=True)
class Component:
    """One component of the variance of ln(runtime of one run).

    Parameters
    ----------
    name
        ``resolution``, ``run``, ``session``, ``day`` or ``unit``.
    variance
        As estimated, possibly below 0; NaN where it cannot be.
    dof
        Degrees of freedom of the mean square behind it; infinite for the resolution.
    share
        Of the sum of those that could be estimated, those below 0 taken as 0; NaN for ``day``,
        which is the same for all devices of a session and drops out of their differences.
    why
        Why there is no estimate, or what is to be said of it.
    """

    name: str
    variance: float
    dof: float
    share: float
    why: str

    @property
    def relative(self) -> float:
        """Return the relative standard deviation; 0 for an estimate below 0."""
        return math.sqrt(self.variance) if self.variance > 0.0 else 0.0 * self.variance


def _contrast_mean_square(values: Sequence[float], covariance: np.ndarray) -> tuple[float, float]:
    """Return the variance of values about their mean, and what their covariance adds to it."""
    n = len(values)
    spread = float(np.var(np.asarray(values), ddof=1))
    centre = np.eye(n) - 1.0 / n
    return spread, float(np.trace(centre @ covariance) / (n - 1))


def components_of(
    cells: Sequence[Cells], units: Sequence[Unit], field: Field, run_scatter: RunScatter
) -> tuple[Component, ...]:
    """Return resolution, run, session (a device from session to session), unit and day.

    Parameters
    ----------
    cells, units, field, run_scatter
        Runtimes of every session, units, their network, and the scatter between runs.

    Notes
    -----
    resolution: mean of h²/3 over all runtimes seen to their end. run: pooled mean square between
    runs within sessions, less the resolution. session: residual mean square of ``device +
    session``, less run/n and resolution. unit: variance of the estimates of units of one model,
    less the mean of their uncertainty. day: the same of the sessions' own effects.
    """
    seen = field.network.observed
    closed = np.array([n < len(field.entries) for n in seen.node.tolist()], dtype=bool)
    windows = seen.half_width[closed] ** 2 / 3.0
    resolution = float(windows.mean()) if windows.size else math.nan
    raw: list[tuple[str, float, float, str]] = [
        ("resolution", resolution, math.inf, "" if windows.size else "no runtime was seen")
    ]
    raw.append(_run(run_scatter, resolution))
    raw.append(_session(field, run_scatter, resolution))
    raw.append(_unit(units, field))
    raw.append(_day(field))
    return finished(raw)


def finished(raw: Sequence[tuple[str, float, float, str]]) -> tuple[Component, ...]:
    """Return components from (name, variance, dof, remark), with their shares."""
    known = [max(v, 0.0) for name, v, _, _ in raw if v == v and name != "day"]
    # the share of the only one that is known would say nothing
    total = sum(known) if len(known) > 1 else 0.0
    return tuple(
        Component(
            name=name,
            variance=variance,
            dof=dof,
            share=max(variance, 0.0) / total
            if name != "day" and variance == variance and total > 0.0
            else math.nan,
            why=_remark(variance, dof, why),
        )
        for name, variance, dof, why in raw
    )


def _remark(variance: float, dof: float, why: str) -> str:
    """Return what is to be said of an estimate."""
    parts = [why]
    if variance < 0.0:
        parts.append("the estimate is below 0 and counts as none: too small to be seen here")
    elif variance == variance and dof < FEW_DOF:
        parts.append(f"rough, from {count(round(dof), 'degree')} of freedom")
    return "; ".join(part for part in parts if part)


def _run(found: RunScatter, resolution: float) -> tuple[str, float, float, str]:
    if not found.dof:
        return "run", math.nan, 0.0, "no session has several runs of several devices"
    return "run", found.s**2 - resolution, float(found.dof), ""


def _session(
    field: Field, run_scatter: RunScatter, resolution: float
) -> tuple[str, float, float, str]:
    scatter = field.network.scatter
    if not scatter.residual_dof:
        why = "fewer than two devices took part in the same sessions, unchanged"
        return "session", math.nan, 0.0, why
    run = max(run_scatter.s**2 - resolution, 0.0) if run_scatter.dof else 0.0
    variance = scatter.observed**2 - scatter.run_mean * run - resolution
    why = "" if run_scatter.dof else "holds that of the runs as well, which were not repeated"
    return "session", variance, float(scatter.residual_dof), why


def _unit(units: Sequence[Unit], field: Field) -> tuple[str, float, float, str]:
    network = field.network
    groups: dict[tuple[str, int], list[int]] = {}
    for k, entry in enumerate(field.entries):
        model = units[entry.unit].model
        if model and field.seen[k]:
            groups.setdefault((model, int(network.part[k])), []).append(k)
    total = dof = 0.0
    for group in groups.values():
        # one entry a unit: its first
        first = {field.entries[k].unit: k for k in reversed(group)}
        nodes = sorted(first.values())
        if len(nodes) < 2:
            continue
        a = network.solution[nodes]
        noise = network.random + np.diag(network.observed.half_width**2 / 3.0)
        spread, expected = _contrast_mean_square(
            [float(v) for v in a @ network.observed.value], a @ noise @ a.T
        )
        total += (len(nodes) - 1) * (spread - expected)
        dof += len(nodes) - 1
    if not dof:
        return "unit", math.nan, 0.0, "no two units of one model can be compared"
    return "unit", total / dof, dof, ""


def _day(field: Field) -> tuple[str, float, float, str]:
    network = field.network
    total = dof = 0.0
    for part in sorted(set(network.session_part[network.session_part >= 0].tolist())):
        sessions = np.flatnonzero(network.session_part == part)
        if sessions.size < 2:
            continue
        a = network.solution[network.observed.nodes + sessions]
        noise = network.random + np.diag(network.observed.half_width**2 / 3.0)
        spread, expected = _contrast_mean_square(
            [float(v) for v in network.effect[sessions]], a @ noise @ a.T
        )
        total += (sessions.size - 1) * (spread - expected)
        dof += sessions.size - 1
    if not dof:
        return "day", math.nan, 0.0, "no two sessions are linked"
    return "day", total / dof, dof, ""
