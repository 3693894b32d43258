"""The sentences that people want to say after a run, with what each of them needs."""

from __future__ import annotations

from itertools import combinations, pairwise
from typing import TYPE_CHECKING

import numpy as np

from kit.claims.evidence import AHEAD, DOING, LESS, LONGER
from kit.claims.verdicts import Claim, Need
from kit.drain.phases import MEASURANDS

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from kit.claims.evidence import Evidence
    from kit.session import Session

    Flags = NDArray[np.bool_]
    Levels = NDArray[np.float64]

__all__ = ["candidates"]

DISPLAYED = MEASURANDS[0]

_CLOSE_PP = 1.0
"""Displays this close after a phase make people say "tied" (pp)."""


def _order_shown(evidence: Evidence) -> list[int]:
    """Return the devices as the notes put them, longest first; unknown ones last.

    Of devices that were still on, the one that showed most. An order to write claims down in, not
    a claim itself.
    """
    offs = evidence.offs
    middle = np.where(np.isinf(offs.high), np.inf, (offs.order_low + offs.order_high) / 2.0)
    unknown = np.isnan(offs.order_low)
    low = np.where(unknown, -np.inf, offs.order_low)
    left = _left_pct(evidence)
    return sorted(
        range(len(evidence.devices)),
        key=lambda k: (unknown[k], -middle[k] if not unknown[k] else 0.0, -low[k], -left[k], k),
    )


def _left_pct(evidence: Evidence) -> Levels:
    """Return what each device showed after the last phase that was read; −inf: not read."""
    read = np.flatnonzero(~np.isnan(evidence.level_pct).all(axis=0))
    if not read.size:
        return np.full(len(evidence.devices), -np.inf)
    shown = evidence.level_pct[:, read[-1]]
    return np.where(np.isnan(shown), -np.inf, shown)


def _longer(i: int, others: Sequence[int]) -> tuple[Need, ...]:
    return tuple(Need(LONGER, -1, i, j) for j in others if j != i)


def _runtimes(session: Session, evidence: Evidence) -> Iterator[Claim]:
    order = _order_shown(evidence)
    if len(order) < 2:
        return
    charged = np.flatnonzero(evidence.offs.charged).tolist()
    everyone = tuple(k for k in order if k not in charged)
    if len(everyone) > 1:
        yield Claim(
            code="longest", a=everyone[0], needs=_longer(everyone[0], everyone), members=everyone,
            left_out=tuple(charged), priority=1,
        )  # fmt: skip
    declared = session.declared_comparison
    pair = tuple(evidence.devices.index(d) for d in declared or () if d in evidence.devices)
    neighbours = {frozenset(two) for two in pairwise(order)}
    for i, j in combinations(order, 2):
        near = frozenset((i, j)) in neighbours
        chosen = {i, j} == set(pair)
        a, b = (pair[0], pair[1]) if chosen else (i, j)
        priority = 1 if near or chosen else 3
        yield Claim(code="outlasted", a=a, b=b, needs=_longer(a, (b,)), priority=priority)
    groups: dict[str, list[int]] = {}
    for k in order:
        for name in session.devices[k].groups:
            groups.setdefault(name, []).append(k)
    for name, them in groups.items():
        members = [k for k in them if k not in charged]
        if len(them) < len(order) and len(members) > 1:
            yield Claim(
                code="first_in_group", a=members[0], needs=_longer(members[0], members),
                group=name, members=tuple(members), priority=1,
                left_out=tuple(k for k in them if k in charged),
            )  # fmt: skip


def _phase_drains(evidence: Evidence) -> Iterator[Claim]:
    """Yield who drained least in a phase, of those that may be compared, and who less than whom."""
    declared = evidence.declared
    ready = {m: np.asarray(evidence.drains[m].compared.any(axis=2)) for m in MEASURANDS}
    drains = {m: evidence.drain_pp[m].T.tolist() for m in MEASURANDS}
    for phase in range(len(evidence.phases)):
        for m in MEASURANDS:
            members = np.flatnonzero(ready[m][phase]).tolist()
            if len(members) < 2:
                continue
            drain = drains[m][phase]
            least = min(members, key=lambda k: (drain[k], k))
            present = np.flatnonzero(evidence.present[:, phase]).tolist()
            yield Claim(
                code="drained_least", a=least,
                needs=tuple(Need(LESS[m], phase, least, j) for j in members if j != least),
                phase_from=phase, phase_to=phase, measurand=m, members=tuple(members),
                left_out=tuple(k for k in present if k not in members), priority=2,
            )  # fmt: skip
            if len(members) == 2:
                continue
            most = max(members, key=lambda k: (drain[k], -k))
            asked = [(least, most)] if most != least else []
            if declared is not None and {declared.a, declared.b} <= set(members):
                two = sorted((declared.a, declared.b), key=lambda k: drain[k])
                asked += [(two[0], two[1])] if (two[0], two[1]) not in asked else []
            for a, b in asked:
                yield Claim(
                    code="drained_less", a=a, b=b, needs=(Need(LESS[m], phase, a, b),),
                    phase_from=phase, phase_to=phase, measurand=m,
                    priority=2 if m == DISPLAYED else 3,
                )  # fmt: skip


def _activities(evidence: Evidence) -> Iterator[Claim]:
    """Yield who drained least doing something, over several phases or in a half of a crossover."""
    for place, stretch in enumerate(evidence.stretches):
        drain = evidence.doing_pp[:, place].tolist()
        members = [k for k, pp in enumerate(drain) if pp == pp]
        if len(members) < 2:
            continue
        least = min(members, key=lambda k: (drain[k], k))
        present = np.flatnonzero(evidence.present[:, stretch.phases[0]]).tolist()
        yield Claim(
            code="least_doing", a=least,
            needs=tuple(Need(DOING, place, least, j) for j in members if j != least),
            phase_from=stretch.phases[0], phase_to=stretch.phases[-1], measurand=DISPLAYED,
            group=stretch.activity, members=tuple(members),
            left_out=tuple(k for k in present if k not in members), priority=2,
        )  # fmt: skip


def _stretches(leaders: Sequence[int]) -> Iterator[tuple[int, int, int]]:
    """Yield (leader, first, last) of phases in a row with one leader; −1 = nobody."""
    first = 0
    for phase in range(1, len(leaders) + 1):
        if phase == len(leaders) or leaders[phase] != leaders[first]:
            if leaders[first] >= 0:
                yield leaders[first], first, phase - 1
            first = phase


def _rivals(evidence: Evidence) -> Flags:
    """Return who has a place after each phase, read or not, shape (n, phases)."""
    table = AHEAD[DISPLAYED]
    seen = (evidence.facts[table] | evidence.open_pairs[table]).any(axis=2).T
    return np.asarray(seen | evidence.unread)


def _lead(
    evidence: Evidence, rivals: list[list[bool]], leader: int, first: int, last: int
) -> Claim | None:
    needs = tuple(
        Need(AHEAD[DISPLAYED], q, leader, j)
        for q in range(first, last + 1)
        for j, present in enumerate(rivals)
        if j != leader and present[q]
    )
    if not needs:
        return None
    charged = evidence.charged[:, first : last + 1].any(axis=1)
    members = np.flatnonzero(np.array(rivals)[:, first : last + 1].any(axis=1) & ~charged)
    return Claim(
        code="led", a=leader, needs=needs, phase_from=first, phase_to=last,
        measurand=DISPLAYED, members=tuple(members.tolist()) if charged.any() else (),
        left_out=tuple(np.flatnonzero(charged).tolist()), priority=2 if last > first else 3,
    )  # fmt: skip


def _leads(evidence: Evidence) -> Iterator[Claim]:
    """Yield stretches of phases after which one display stood highest, as shown and as sure.

    A device that was charged by then is none of them.
    """
    levels = np.where(evidence.charged, np.nan, evidence.level_pct)
    ahead, rivals = evidence.facts[AHEAD[DISPLAYED]].tolist(), _rivals(evidence).tolist()
    shown_leaders, sure_leaders = [], []
    for phase, shown in enumerate(levels.T.tolist()):
        highest = max((level for level in shown if level == level), default=None)
        top = [k for k, level in enumerate(shown) if level == highest]
        leader = top[0] if len(top) == 1 else -1
        others = [j for j, present in enumerate(rivals) if present[phase] and j != leader]
        if not others and evidence.charged[:, phase].any():
            leader = -1
        shown_leaders.append(leader)
        sure = leader >= 0 and bool(others) and all(ahead[phase][leader][j] for j in others)
        sure_leaders.append(leader if sure else -1)
    asked = list(_stretches(shown_leaders))
    asked += [found for found in _stretches(sure_leaders) if found not in asked]
    for leader, first, last in asked:
        claim = _lead(evidence, rivals, leader, first, last)
        if claim is not None:
            yield claim


def _ties(evidence: Evidence) -> Iterator[Claim]:
    """Yield who looks tied after a phase; of the pair declared beforehand also who was ahead.

    Ties for the lead, those after the last phase and those of that pair are listed.
    """
    table = AHEAD[DISPLAYED]
    last = max(
        (p for p in range(len(evidence.phases)) if evidence.levels[DISPLAYED].compared[p].any()),
        default=-1,
    )
    declared = evidence.declared
    for phase in range(len(evidence.phases)):
        shown = evidence.level_pct[:, phase].tolist()
        compared = evidence.open_pairs[table][phase].tolist()
        top = max((level for level in shown if level == level), default=np.nan)
        for i, j in combinations(range(len(evidence.devices)), 2):
            if not compared[i][j] or shown[i] != shown[i] or shown[j] != shown[j]:
                continue
            chosen = declared is not None and declared.is_pair(i, j)
            close = abs(shown[i] - shown[j]) <= _CLOSE_PP
            if not close and not chosen:
                continue
            a, b = (j, i) if shown[j] > shown[i] else (i, j)
            listed = chosen or phase == last or shown[a] == top
            yield Claim(
                code="tied_after" if close else "ahead_after", a=a, b=b,
                needs=(Need(table, phase, a, b),),
                phase_from=phase, phase_to=phase, measurand=DISPLAYED,
                priority=2 if listed else 3,
            )  # fmt: skip


def _gains(evidence: Evidence) -> Iterator[Claim]:
    """Yield who caught up, among neighbours in the standing before each phase."""
    for phase in range(1, len(evidence.phases)):
        before = evidence.level_pct[:, phase - 1].tolist()
        compared = evidence.drains[DISPLAYED].compared[phase]
        read = [k for k, level in enumerate(before) if level == level]
        standing = sorted(read, key=lambda k: (-before[k], k))
        drain = evidence.drain_pp[DISPLAYED][:, phase].tolist()
        for ahead, behind in pairwise(standing):
            if compared[ahead, behind] and drain[behind] < drain[ahead]:
                yield Claim(
                    code="gained", a=behind, b=ahead,
                    needs=(Need(LESS[DISPLAYED], phase, behind, ahead),),
                    phase_from=phase, phase_to=phase, measurand=DISPLAYED, priority=3,
                )  # fmt: skip


def candidates(session: Session, evidence: Evidence) -> tuple[Claim, ...]:
    """Return the claims to judge: what a viewer of the scorecard would want to say.

    Parameters
    ----------
    session
        Names groups and the declared comparison.
    evidence
        From `kit.claims.evidence.evidence`.

    Returns
    -------
    tuple of Claim
        Who lasted longest, overall and in each group; who outlasted whom; who drained least in
        each phase, and less than the one that drained most, by the display and by the charge; who
        drained least doing what was done more than once or in a crossover; who led from when to
        when; who looks tied after a phase; who gained in a phase on the one before it. Of the pair
        declared beforehand also who drained less in every phase and who was ahead after it.
    """
    return (
        *_runtimes(session, evidence),
        *_phase_drains(evidence),
        *_activities(evidence),
        *_leads(evidence),
        *_ties(evidence),
        *_gains(evidence),
    )
