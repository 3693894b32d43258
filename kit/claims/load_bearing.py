"""Load-bearing readings: which single number, if it was misread, would change a conclusion.

Every percentage that stands for a phase boundary and every noted time of a power-off is put in
question, with the slips that a tired reader makes. Screening is done in closed form (all results
are linear in the readings); what it finds is then computed again from the changed record, and
only what holds there is told.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from kit.claims.doubts import off_doubts, reading_doubts
from kit.claims.evidence import AHEAD, LESS, LONGER, altered_facts, comparable_pairs, evidence
from kit.claims.judge import LEAST_URGENT, grounds
from kit.claims.misreadings import SLIP_WORDS, WEIGHTS
from kit.claims.verdicts import CANNOT, SUPPORTED, VERDICTS, Asked, verdicts
from kit.claims.words import Speech
from kit.drain.misnoted import misnoted
from kit.drain.misread import misread_chains
from kit.drain.phases import MEASURANDS, prepare
from kit.frames import frame_of_rows
from kit.stats.order import surely_above
from kit.units import MISSING, clock, h_mm, number

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    import pandas as pd
    from numpy.typing import NDArray

    from kit.claims.doubts import Doubt
    from kit.claims.evidence import Evidence, PairTable
    from kit.claims.judge import Ground
    from kit.claims.verdicts import Claim
    from kit.drain.phases import Prepared
    from kit.results import Settings
    from kit.session import Run, Session

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]
    Ints = NDArray[np.int64]

__all__ = ["load_bearing"]

MOST_READINGS = 12
"""Length of the list: readings to look at again before publishing."""

_MOST_TRIED = 30
"""Readings that are computed again at most, to fill that list."""

_DENSE = 20_000
"""Readings from which a log counts as dense."""

_PRIORITY_WEIGHT = {1: 1.0, 2: 0.5}

_OFF_WORDS = {
    "last_on_min": "last seen on",
    "first_off_min": "first seen off",
    "noted_min": "noted off",
}


class _Hit(NamedTuple):
    """A claim that a doubt would change."""

    doubt: Doubt
    claim: int
    verdict: int

    @property
    def number(self) -> tuple[str, int, str]:
        """Return which number of the record it is."""
        return self.doubt.frame, self.doubt.row, self.doubt.column


class _Base(NamedTuple):
    """The record as it is: claims and their verdicts in one run."""

    run: int
    found: Evidence
    claims: tuple[Claim, ...]
    asked: Asked
    priorities: tuple[int, ...]
    verdicts: Ints


def _base(ground: Ground, run: int) -> _Base:
    found = ground.found
    asked = [j for j in ground.judged if j.priority < LEAST_URGENT]
    return _Base(
        run=run,
        found=found,
        claims=tuple(j.claim for j in asked),
        asked=Asked([j.claim for j in asked]),
        priorities=tuple(j.priority for j in asked),
        verdicts=np.array([j.verdict for j in asked], dtype=np.int64),
    )


def _needs_that_hold(
    table: PairTable, asked: Asked, name: str, device: Ints, change: Floats
) -> tuple[Flags, Flags]:
    """Return which needs in a table hold for each doubt, and which opposites: (doubts, needs).

    ``change`` (doubts, phases) adds to the value of each doubt's device. A table of drains says
    "less", one of levels "above".
    """
    at = asked.at[name]
    phase, i, j = asked.phase[at], asked.i[at], asked.j[at]
    if name in LESS.values():
        i, j = j, i
    mine = (i == device[:, None]).astype(np.float64) - (j == device[:, None])
    lead = table.difference[phase, i, j] + mine * change[:, phase]
    found = []
    for sign, a, b in ((1.0, i, j), (-1.0, j, i)):
        with np.errstate(invalid="ignore"):
            beyond = sign * lead > table.margin[phase, a, b]
        found.append((table.compared[phase, a, b] & beyond) | table.known[phase, a, b])
    return found[0], found[1]


def _screen_readings(ready: Prepared, base: _Base, doubts: Sequence[Doubt]) -> Iterator[_Hit]:
    """Yield the claims that misread percentages would change, by the linear coefficients."""
    n = len(ready.chains.devices)
    units = slice(base.run * n, (base.run + 1) * n)
    device = np.array([d.device for d in doubts], dtype=np.int64)
    boundary = np.array([d.boundary for d in doubts], dtype=np.int64)
    step = np.array([d.slip.value - d.noted for d in doubts])[:, None]
    asked, found = base.asked, base.found
    shape = (len(doubts), asked.size)
    holds, against, unseen = (np.zeros(shape, dtype=bool) for _ in range(3))
    slopes = {LESS[m]: ready.drains[m].coefficients[units] for m in MEASURANDS}
    slopes |= dict.fromkeys(AHEAD.values(), ready.states.matrix[units, 1::2])
    tables = {LESS[m]: found.drains[m] for m in MEASURANDS}
    tables |= {AHEAD[m]: found.levels[m] for m in MEASURANDS}
    for name, at in asked.at.items():
        unseen[:, at] = ~found.open_pairs[name][asked.place(name)]
        if name == LONGER:
            holds[:, at] = found.facts[name][asked.place(name)]
            against[:, at] = found.facts[name][asked.place(name, turned=True)]
            continue
        change = slopes[name][device, :, boundary] * step
        holds[:, at], against[:, at] = _needs_that_hold(tables[name], asked, name, device, change)
    now = asked.judged(holds, against, unseen)
    for c, i in np.argwhere((now != base.verdicts).T).tolist():
        yield _Hit(doubts[i], c, int(now[i, c]))


def _changed(session: Session, doubt: Doubt) -> Session:
    """Return the record with the other number in place of the one noted."""
    frame: pd.DataFrame = getattr(session, doubt.frame)
    values = frame[doubt.column].to_numpy(dtype=np.float64).copy()
    values[doubt.row] = doubt.slip.value
    other = frame.assign(**{doubt.column: values})
    if doubt.frame == "readings":
        return replace(session, readings=other)
    return replace(session, power_offs=other)


def _screen_offs(session: Session, base: _Base, doubts: Sequence[Doubt]) -> Iterator[_Hit]:
    """Yield the claims on runtimes that misread times change, computed from the changed record."""
    of_runtime = [c for c, claim in enumerate(base.claims) if claim.measurand == "runtime"]
    if not of_runtime or not doubts:
        return
    other = misnoted(session, base.run, [(d.device, d.column, d.slip.value) for d in doubts])
    facts = {LONGER: surely_above(other.least_lead)}
    comparable = {LONGER: comparable_pairs(other.order_low, other.order_high)}
    now = verdicts(Asked([base.claims[c] for c in of_runtime]), facts, comparable)
    changed = (now != base.verdicts[of_runtime]) & other.possible[:, None]
    for d, c in np.argwhere(changed).tolist():
        yield _Hit(doubts[d], of_runtime[c], int(now[d, c]))


def _danger(base: _Base, hit: _Hit) -> float:
    stands = VERDICTS[int(base.verdicts[hit.claim])] == SUPPORTED
    weight = _PRIORITY_WEIGHT[base.priorities[hit.claim]] * (1.0 if stands else 0.5)
    return weight * WEIGHTS[hit.doubt.slip.kind]


def _likeliest(base: _Base, hits: Sequence[_Hit]) -> list[list[_Hit]]:
    """Return the hits by number of the record, most dangerous first, each claim once."""
    best: dict[tuple[str, int, str], dict[int, _Hit]] = {}
    for hit in hits:
        mine = best.setdefault(hit.number, {})
        if hit.claim not in mine or _danger(base, hit) > _danger(base, mine[hit.claim]):
            mine[hit.claim] = hit
    groups = [
        sorted(mine.values(), key=lambda h: (-_danger(base, h), h.claim)) for mine in best.values()
    ]
    return sorted(
        groups,
        key=lambda g: (
            -max(_danger(base, h) for h in g),
            -sum(_danger(base, h) for h in g),
            g[0].number,
        ),
    )


def _again(
    ready: Prepared, base: _Base, doubts: Sequence[Doubt], settings: Settings
) -> Iterator[Ints]:
    """Yield the verdicts on all claims for each doubt about a percentage, computed anew."""
    n = len(ready.chains.devices)
    unit = base.run * n + np.array([d.device for d in doubts], dtype=np.int64)
    boundary = np.array([d.boundary for d in doubts], dtype=np.int64)
    value = np.array([d.slip.value for d in doubts])
    session = ready.chains.session
    chains = misread_chains(ready.chains, unit, boundary, value)
    if chains is not None:
        other = prepare(session, chains=chains)
        yield from verdicts(base.asked, *altered_facts(ready, base.run, other, settings))
        return
    for doubt in doubts:
        again = evidence(prepare(_changed(session, doubt)), base.run, settings)
        yield verdicts(base.asked, again.facts, again.open_pairs)


def _confirmed(
    ready: Prepared, base: _Base, groups: Sequence[list[_Hit]], settings: Settings
) -> list[list[_Hit]]:
    """Return the hits that hold when everything is computed again from the changed record.

    Times were computed again when they were screened; a log so dense that this would take long
    has neighbours that leave little to misread, and its screening stands.
    """
    if len(ready.chains.session.readings) > _DENSE:
        return list(groups)
    doubts = list(
        dict.fromkeys(h.doubt for group in groups for h in group if h.doubt.frame == "readings")
    )
    again = dict(zip(doubts, _again(ready, base, doubts, settings), strict=True)) if doubts else {}
    confirmed = []
    for group in groups:
        kept = []
        for hit in group:
            before = int(base.verdicts[hit.claim])
            now = int(again[hit.doubt][hit.claim]) if hit.doubt in again else hit.verdict
            # what was open and then may not even be compared changes nothing that is said
            lost = VERDICTS[now] == CANNOT and VERDICTS[before] != SUPPORTED
            if hit.doubt not in again or (now != before and not lost):
                kept.append(hit._replace(verdict=now))
        confirmed.append(sorted(kept, key=lambda h: (-_danger(base, h), h.claim)))
    return confirmed


def _time(run: Run, minutes: float) -> str:
    text = clock(run.start, minutes)
    return h_mm(minutes) if text == MISSING else text


class _Source:
    """Cells of a frame of the record that are told beside a number, as lists."""

    def __init__(self, frame: pd.DataFrame) -> None:
        self.phase = frame["phase"].tolist()
        self.point = frame["point"].tolist() if "point" in frame else []
        self.line = frame["line"].tolist()
        self.evidence = frame["evidence"].tolist()


def _told(source: _Source, run: Run, doubt: Doubt) -> tuple[str, str, str, str, str]:
    """Return what, phase, point, the number noted and the other one, in words."""
    phase = str(source.phase[doubt.row])
    if doubt.frame == "readings":
        places = 0 if float(doubt.noted).is_integer() else 1
        noted, instead = (f"{number(v, places)} %" for v in (doubt.noted, doubt.slip.value))
        return "reading", phase, str(source.point[doubt.row]), noted, instead
    noted, instead = _time(run, doubt.noted), _time(run, doubt.slip.value)
    return "power-off", phase, _OFF_WORDS[doubt.column], noted, instead


def _rows(
    speech: Speech, base: _Base, run: Run, groups: Sequence[Sequence[_Hit]]
) -> Iterator[tuple[object, ...]]:
    session = speech.session
    told = {group[0].doubt.frame for group in groups}
    sources = {name: _Source(getattr(session, name)) for name in told}
    for rank, group in enumerate(groups, start=1):
        source, place = sources[group[0].doubt.frame], group[0].doubt.row
        for hit in group:
            what, phase, point, noted, instead = _told(source, run, hit.doubt)
            yield (
                run.number, rank, speech.statement(base.claims[hit.claim]),
                VERDICTS[int(base.verdicts[hit.claim])], VERDICTS[hit.verdict], what,
                session.devices[hit.doubt.device].id, phase, point, hit.doubt.column, noted,
                instead, SLIP_WORDS[hit.doubt.slip.kind], len(group), int(source.line[place]),
                str(source.evidence[place]),
            )  # fmt: skip


def load_bearing(
    session: Session,
    settings: Settings,
    *,
    prepared: Prepared | None = None,
    known: Sequence[Ground] | None = None,
) -> pd.DataFrame:
    """Return the readings to look at again before publishing, most dangerous first.

    Parameters
    ----------
    session
        A record that passed its checks.
    settings
        ``coverage`` of the claims.
    prepared
        From `kit.drain.phases.prepare`, if it was made already.
    known
        From `kit.claims.judge.grounds`, if they were found already.

    Returns
    -------
    DataFrame
        ``RESULT_COLUMNS["load_bearing"]``; per run at most 12 numbers of the record, one row for
        each claim that the number, if misread, would change. ``rank`` counts the numbers;
        ``instead`` is the likeliest other number that changes the claim, ``slip`` how it comes
        about, ``verdict_if_misread`` what the claim would then be, ``affected`` how many claims
        hang on the number; ``line`` and ``evidence`` point to it.

    Notes
    -----
    Only claims on this session that belong into the table of claims are asked; those on kinds
    of device, whose margins are tens of minutes, are not. A percentage may have been any
    neighbour, look-alike or exchange of digits between the readings before and after it, since a
    display does not rise; a noted time any such minute that keeps the order of the notes. Danger
    = how likely the slip × how urgent the claim × (1 if it was supported, else ½). Derived in
    docs/runtimes.md.
    """
    ready = prepare(session) if prepared is None else prepared
    speech = Speech.of(session)
    rows: list[tuple[object, ...]] = []
    found = grounds(ready, settings) if known is None else known
    for place, run in enumerate(session.runs):
        base = _base(found[place], place)
        if not base.claims:
            continue
        hits = list(_screen_readings(ready, base, reading_doubts(ready, place)))
        hits += _screen_offs(session, base, off_doubts(session, place, base.found))
        likely = _likeliest(base, hits)[:_MOST_TRIED]
        groups: list[list[_Hit]] = []
        while likely and len(groups) < MOST_READINGS:
            part, likely = likely[:MOST_READINGS], likely[MOST_READINGS:]
            groups += [kept for kept in _confirmed(ready, base, part, settings) if kept]
        groups = groups[:MOST_READINGS]
        rows += _rows(speech, base, run, groups)
    return frame_of_rows("load_bearing", rows)
