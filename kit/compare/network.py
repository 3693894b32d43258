"""Devices that never ran side by side, linked through those that ran with both.

The model is ``value = node + session + scatter``. It is a network: nodes (devices) and sessions,
joined by every runtime. Within a connected part, every difference of nodes is a sum of runtimes
with known coefficients; between parts nothing is known but by assumption.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from kit.stats.factors import coverage_factor

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]
    Flags = NDArray[np.bool_]

__all__ = ["ENOUGH_DOF", "Link", "Network", "Observed", "Scatter", "fit_network"]

ENOUGH_DOF = 4
"""Degrees of freedom from which the scatter between sessions is taken from the common devices.

An estimate from four is itself uncertain by about 36 % (GUM, table E.1, from memory)."""

Basis = Literal["estimated", "assumed", "raised"]


@dataclass(frozen=True, kw_only=True)
class Observed:
    """Runtimes of nodes in sessions.

    Parameters
    ----------
    node, session
        Shape (n,). Positions.
    value, half_width
        Shape (n,). ln(runtime), and the half-width of its window.
    run_part
        Shape (n, n). Covariance from the scatter between runs, divided by its variance; zero for
        sessions of one run.
    single
        Shape (n,). From a session of one run.
    nodes, sessions
        How many there are.
    """

    node: Ints
    session: Ints
    value: Floats
    half_width: Floats
    run_part: Floats
    single: Flags
    nodes: int
    sessions: int


@dataclass(frozen=True, kw_only=True)
class Scatter:
    """What makes a device last longer or shorter from session to session, beside the others.

    Parameters
    ----------
    basis
        ``estimated`` from the common devices; ``assumed``; ``raised``: assumed, and then raised
        to what the few common devices show.
    s, dof
        Relative standard deviation of a session's value, and its degrees of freedom.
    observed, residual_dof
        What the common devices show (NaN without any), with its degrees of freedom.
    run_s, run_dof
        Relative standard deviation between runs, 0 without repeated runs.
    between_variance
        Variance between sessions without that of the runs, at least 0.
    run_mean
        Mean share of the variance between runs in a session's value.
    """

    basis: Basis
    s: float
    dof: float
    observed: float
    residual_dof: int
    run_s: float
    run_dof: int
    between_variance: float
    run_mean: float


@dataclass(frozen=True, kw_only=True)
class Link:
    """A difference of two nodes in ln(runtime).

    Parameters
    ----------
    difference
        First minus second.
    u, dof
        Standard uncertainty with the windows, and degrees of freedom of the scatter in it.
    u_scatter, u_windows
        Its two parts.
    bound
        Half-width that the windows of the power-offs never exceed.
    coefficients
        Shape (n,). Of the runtimes.
    """

    difference: float
    u: float
    dof: float
    u_scatter: float
    u_windows: float
    bound: float
    coefficients: Floats

    def half_width(self, coverage: float) -> float:
        """Return U = √(X² + (t·u)²): X of the windows, at most their hard bound."""
        windows = min(self.bound, coverage_factor(coverage) * self.u_windows)
        if self.u_scatter == 0.0:
            return windows
        t = coverage_factor(coverage, self.dof)
        return float(np.hypot(windows, t * self.u_scatter))


@dataclass(frozen=True, kw_only=True)
class Network:
    """The fitted network.

    Parameters
    ----------
    part, session_part
        Shape (nodes,) and (sessions,). Number of the connected part; −1: no runtime.
    effect
        Shape (sessions,). What each session added to every value, first of its part = 0.
    solution
        Shape (nodes + sessions, n). Coefficients of the estimates.
    random
        Shape (n, n). Covariance of the values without their windows.
    """

    observed: Observed
    scatter: Scatter
    part: Ints
    session_part: Ints
    effect: Floats
    solution: Floats
    random: Floats

    def link(self, i: int, j: int) -> Link:
        """Return node i minus node j of one connected part.

        Raises
        ------
        ValueError
            If nothing connects them.
        """
        if self.part[i] < 0 or self.part[i] != self.part[j]:
            message = f"nothing connects the nodes {i} and {j}"
            raise ValueError(message)
        return self._of(self.solution[i] - self.solution[j])

    def across(self, i: int, j: int, session_s: float) -> Link:
        """Return node i minus node j of any parts, sessions taken as random about one mean.

        Parameters
        ----------
        i, j
            Nodes with a runtime.
        session_s
            Assumed standard deviation of what a session adds to every value.
        """
        solution, random = self._all_random(session_s)
        return self._of(solution[i] - solution[j], random=random)

    def levels(self, session_s: float | None = None) -> Floats:
        """Return the value of every node on the middle day of its part, NaN where it has none.

        Parameters
        ----------
        session_s
            If given, the sessions are random about one mean, and the values those on such a day.
        """
        if session_s is not None:
            found = self._all_random(session_s)[0] @ self.observed.value
            return np.where(self.part >= 0, found, np.nan)
        found = self.solution[: self.observed.nodes] @ self.observed.value
        days = np.array(
            [
                self.effect[self.session_part == p].mean() if p >= 0 else np.nan
                for p in self.part.tolist()
            ]
        )
        return np.asarray(found + days)

    def _all_random(self, session_s: float) -> tuple[Floats, Floats]:
        """Return coefficients of the nodes with random sessions, and the covariance used."""
        seen = self.observed
        alike = seen.session[:, None] == seen.session[None, :]
        random = self.random + session_s**2 * alike
        used = np.flatnonzero(self.part >= 0)
        x = np.eye(seen.nodes)[seen.node][:, used]
        solution = np.zeros((seen.nodes, len(seen.value)))
        solution[used] = _solve(x, random + np.diag(seen.half_width**2 / 3.0))
        return solution, random

    def _of(self, a: Floats, *, random: Floats | None = None) -> Link:
        seen, found = self.observed, self.scatter
        a = np.where(np.abs(a) < 1e-12, 0.0, a)
        covariance = self.random if random is None else random
        variance = max(float(a @ covariance @ a), 0.0)
        windows = float(np.sqrt((a**2 * seen.half_width**2).sum() / 3.0))
        return Link(
            difference=float(a @ seen.value),
            u=float(np.sqrt(variance + windows**2)),
            dof=_dof(a, seen, found, variance),
            u_scatter=float(np.sqrt(variance)),
            u_windows=windows,
            bound=float((np.abs(a) * seen.half_width).sum()),
            coefficients=a,
        )


def _dof(a: Floats, seen: Observed, found: Scatter, variance: float) -> float:
    """Return the effective degrees of freedom of a variance from two mean squares."""
    parts: tuple[tuple[float, float], ...]
    runs = float(a @ seen.run_part @ a) * found.run_s**2
    if found.between_variance == 0.0 and found.basis == "estimated":
        return float(found.run_dof)
    if found.basis == "estimated":
        whole = found.s**2 * float(a @ a)
        # the variance between sessions is the whole less that of the runs
        rest = runs + float((a**2 * seen.single).sum()) * found.run_s**2 - (
            found.run_mean * found.run_s**2 * float(a @ a)
        )  # fmt: skip
        parts = ((whole, found.dof), (rest, float(found.run_dof)))
    else:
        parts = ((runs, float(found.run_dof)),)
    spread = sum(v**2 / d for v, d in parts if d)
    return float("inf") if spread == 0.0 else variance**2 / spread


def _parts(seen: Observed) -> tuple[Ints, Ints]:
    """Return the connected part of every node and session, numbered by first session."""
    node = np.full(seen.nodes, -1, dtype=np.int64)
    session = np.full(seen.sessions, -1, dtype=np.int64)
    number = 0
    for start in range(seen.sessions):
        if session[start] >= 0 or not (seen.session == start).any():
            continue
        session[start] = number
        grown = -1
        while grown != (session == number).sum():
            grown = int((session == number).sum())
            here = np.isin(seen.session, np.flatnonzero(session == number))
            node[seen.node[here]] = number
            joined = np.isin(seen.node, np.flatnonzero(node == number))
            session[seen.session[joined]] = number
        number += 1
    return node, session


def _design(seen: Observed, node: Ints, session: Ints) -> tuple[Floats, Ints]:
    """Return the design and the columns that are estimated (one session a part is 0)."""
    n = len(seen.value)
    design = np.zeros((n, seen.nodes + seen.sessions))
    design[np.arange(n), seen.node] = 1.0
    design[np.arange(n), seen.nodes + seen.session] = 1.0
    first = {int(np.flatnonzero(session == p)[0]) for p in set(session[session >= 0].tolist())}
    kept = [int(k) for k in np.flatnonzero(node >= 0)]
    kept += [
        seen.nodes + int(k) for k in np.flatnonzero(session >= 0) if int(k) not in first
    ]  # fmt: skip
    return design, np.array(kept, dtype=np.int64)


def _solve(x: Floats, covariance: Floats) -> Floats:
    weight = np.linalg.inv(covariance)
    return np.asarray(np.linalg.solve(x.T @ weight @ x, x.T @ weight), dtype=np.float64)


def _scatter(
    seen: Observed, x: Floats, assumed: float, run_s: float, run_dof: int
) -> tuple[Scatter, Floats]:
    """Return the scatter and the covariance of the values without their windows."""
    n = len(seen.value)
    # runs that are not repeated scatter as much as those that are
    runs = seen.run_part + np.diag(seen.single.astype(np.float64))
    dof = n - x.shape[1]
    # of full rank by construction
    residual = seen.value - x @ np.linalg.solve(x.T @ x, x.T @ seen.value)
    observed = float(np.sqrt((residual**2).sum() / dof)) if dof else float("nan")
    mean = float(np.diag(runs).mean()) if run_dof else 0.0
    if dof >= ENOUGH_DOF:
        between = max(0.0, observed**2 - mean * run_s**2)
        found = Scatter(
            basis="estimated", s=observed, dof=float(dof), observed=observed, residual_dof=dof,
            run_s=run_s, run_dof=run_dof, between_variance=between, run_mean=mean,
        )  # fmt: skip
        return found, between * np.eye(n) + (run_s**2 * runs if run_dof else 0.0)
    raised = bool(dof) and observed > assumed
    s = observed if raised else assumed
    found = Scatter(
        basis="raised" if raised else "assumed", s=s, dof=float("inf"), observed=observed,
        residual_dof=dof, run_s=run_s, run_dof=run_dof, between_variance=s**2, run_mean=mean,
    )  # fmt: skip
    return found, s**2 * np.eye(n) + run_s**2 * seen.run_part


def fit_network(seen: Observed, *, assumed: float, run_s: float = 0.0, run_dof: int = 0) -> Network:
    """Fit ``value = node + session + scatter`` by generalised least squares.

    Parameters
    ----------
    seen
        Runtimes of nodes in sessions.
    assumed
        Relative standard deviation of a device from session to session, where the common devices
        are too few to show it.
    run_s, run_dof
        Relative standard deviation between runs of one session, with its degrees of freedom.

    Notes
    -----
    Weights are the inverse of ``V = τ²I + σ²G + diag(h²/3)``: scatter of a device from session to
    session, scatter between runs (G as the runs were pooled), windows of the power-offs. With
    ``n − rank ≥ 4`` the residual mean square s² of the plain fit takes the place of the
    assumption, τ² = max(0, s² − σ²·mean(G)). The windows are in s² already and are added again in
    the interval, as everywhere in the kit: they do not average out. With fewer degrees of freedom
    the assumption holds, raised to s where s is larger. Derived in docs/comparing.md.

    References
    ----------
    Generalised least squares: A. C. Aitken (1936), Proc. R. Soc. Edinb. 55:42 (from memory).
    Difference through a common comparator: H. C. Bucher et al. (1997), J. Clin. Epidemiol. 50:683
    (from memory).

    Examples
    --------
    A and C in one session, C and B in another: A − B = (A − C) − (B − C) = 0.2 − 0.05, with four
    runtimes in it, u = √4 × 0.03.

    >>> seen = Observed(node=np.array([0, 2, 2, 1]), session=np.array([0, 0, 1, 1]),
    ...     value=np.array([2.3, 2.1, 2.0, 2.05]), half_width=np.zeros(4),
    ...     run_part=np.zeros((4, 4)), single=np.ones(4, dtype=bool), nodes=3, sessions=2)
    >>> link = fit_network(seen, assumed=0.03).link(0, 1)
    >>> round(link.difference, 6), round(link.u, 6)
    (0.15, 0.06)
    """
    node, session = _parts(seen)
    design, kept = _design(seen, node, session)
    x = design[:, kept]
    found, random = _scatter(seen, x, assumed, run_s, run_dof)
    solution = np.zeros((seen.nodes + seen.sessions, len(seen.value)))
    solution[kept] = _solve(x, random + np.diag(seen.half_width**2 / 3.0))
    return Network(
        observed=seen,
        scatter=found,
        part=node,
        session_part=session,
        effect=solution[seen.nodes :] @ seen.value,
        solution=solution,
        random=random,
    )
