"""Load-bearing readings: which single number, if it was misread, would change a conclusion.

Every percentage that stands for a phase boundary or was read at a swap, every noted time of a
power-off and of a reading by which a device was last seen on is put in question, with the slips
that a tired reader makes, and each conclusion that the report prints is asked again for each of
them. What would change one is listed, most dangerous first over all runs; the conclusions that none
of them changes are named.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from kit.claims.conclusions import printed
from kit.claims.doubted_means import Overall
from kit.claims.doubted_mixes import NONE_ON_MIX, OnMixes
from kit.claims.doubted_runs import Asking, misnoted_verdicts, misread_verdicts, retimed_verdicts
from kit.claims.doubts import off_doubts, reading_doubts, seen_doubts, stop_doubts, swap_doubts
from kit.claims.judge import grounds
from kit.claims.misreadings import SLIP_WORDS, WEIGHTS
from kit.claims.table import claims
from kit.claims.verdicts import CANNOT, SUPPORTED, TIED, VERDICTS
from kit.claims.words import Speech
from kit.drain.phases import prepare
from kit.drain.segments import segments
from kit.drain.usage_mix import chosen_mixes
from kit.frames import frame_of_rows
from kit.runtime.runtimes import runtime_tables
from kit.units import MISSING, clock, h_mm, number

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    import pandas as pd
    from numpy.typing import NDArray

    from kit.claims.conclusions import Conclusion
    from kit.claims.doubts import Doubt
    from kit.claims.judge import Ground
    from kit.drain.phases import Prepared
    from kit.drain.segments import Segments
    from kit.drain.swaps import Swaps
    from kit.results import Settings
    from kit.session import Run, Session

    Ints = NDArray[np.int64]

__all__ = ["Bearing", "bearing"]

_PRIORITY_WEIGHT = {1: 1.0, 2: 0.5}

_OFF_WORDS = {
    "last_on_min": "last seen on",
    "first_off_min": "first seen off",
    "noted_min": "noted off",
}


class Bearing(NamedTuple):
    """What hangs on single numbers of a record.

    Parameters
    ----------
    readings
        Frame ``load_bearing`` of `kit.results.RESULT_COLUMNS`.
    robust
        Frame ``robust_claims``: the conclusions that no single slip changes.
    """

    readings: pd.DataFrame
    robust: pd.DataFrame


class _Hit(NamedTuple):
    """A conclusion that a doubt would change."""

    doubt: Doubt
    place: int
    verdict: int

    @property
    def number(self) -> tuple[str, int, str]:
        """Return which number of the record it is."""
        return self.doubt.frame, self.doubt.row, self.doubt.column


class _Search:
    """The conclusions, the slips found to change one, and which conclusions any slip touches."""

    def __init__(self, conclusions: Sequence[Conclusion]) -> None:
        self.conclusions = conclusions
        self.hits: list[_Hit] = []
        self.touched: set[int] = set()

    def changes(self, place: int, now: int) -> bool:
        """Return whether another verdict changes what is said.

        What was tied and then may not even be compared does not.
        """
        before = self.conclusions[place].verdict
        lost = VERDICTS[now] == CANNOT and VERDICTS[before] == TIED
        return now != before and not lost

    def add(self, doubts: Sequence[Doubt], now: Ints, places: Ints) -> None:
        """Note what the verdicts on some conclusions are for each doubt, (doubts, places)."""
        before = np.array([self.conclusions[p].verdict for p in places.tolist()], dtype=np.int64)
        for c, d in np.argwhere((now != before).T).tolist():
            place, verdict = int(places[c]), int(now[d, c])
            self.touched.add(place)
            if self.changes(place, verdict):
                self.hits.append(_Hit(doubts[d], place, verdict))

    def danger(self, hit: _Hit) -> float:
        """Return how likely the slip is × how urgent the conclusion × whether it stood."""
        conclusion = self.conclusions[hit.place]
        stands = VERDICTS[conclusion.verdict] == SUPPORTED and conclusion.code != NONE_ON_MIX
        weight = _PRIORITY_WEIGHT[conclusion.priority] * (1.0 if stands else 0.5)
        return weight * WEIGHTS[hit.doubt.slip.kind]

    def by_danger(self, groups: Sequence[list[_Hit]]) -> list[list[_Hit]]:
        """Return groups of hits of one number each, most dangerous first, and so within each."""
        ordered = [sorted(g, key=lambda h: (-self.danger(h), h.place)) for g in groups if g]
        return sorted(
            ordered,
            key=lambda g: (-self.danger(g[0]), -sum(map(self.danger, g)), g[0].number),
        )

    def likeliest(self) -> list[list[_Hit]]:
        """Return the hits by number of the record, each conclusion once with its likeliest slip."""
        best: dict[tuple[str, int, str], dict[int, _Hit]] = {}
        for hit in self.hits:
            mine = best.setdefault(hit.number, {})
            if hit.place not in mine or self.danger(hit) > self.danger(mine[hit.place]):
                mine[hit.place] = hit
        return self.by_danger([list(mine.values()) for mine in best.values()])


def _ask_readings(
    search: _Search, ready: Prepared, asking: Asking, swaps: Swaps, overall: Overall, places: Ints
) -> None:
    """Ask a run, and the conclusions over all runs, of all doubts about its percentages."""
    doubts = [
        *reading_doubts(ready, asking.run),
        *swap_doubts(ready, asking.run, swaps),
        *stop_doubts(ready, asking.run),
    ]
    if doubts and asking.places.size:
        verdicts = misread_verdicts(ready, asking, doubts, overall.settings)
        search.add(doubts, verdicts, asking.places)
    said = {
        doubt: now
        for doubt in doubts
        if places.size and (now := overall.of_percentage(doubt)) is not None
    }
    if said:
        search.add(list(said), np.stack(list(said.values())), places)


def _ask_offs(
    search: _Search, ready: Prepared, asking: Asking, overall: Overall, places: Ints
) -> None:
    """Ask a run, and the conclusions over all runs, of all doubts about its power-offs."""
    doubts = off_doubts(ready, asking.run, asking.found)
    seen = seen_doubts(ready, asking.run)
    for ends in (
        misnoted_verdicts(ready, asking, doubts, overall.settings),
        retimed_verdicts(ready, asking, seen, overall.settings),
    ):
        search.add(ends.doubts, ends.verdicts, asking.places)
        if places.size and ends.doubts:
            search.add(ends.doubts, overall.of_times(ends.doubts, ends.low, ends.high), places)


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
    if doubt.column == "soc_pct":
        places = 0 if float(doubt.noted).is_integer() else 1
        noted, instead = (f"{number(v, places)} %" for v in (doubt.noted, doubt.slip.value))
        if doubt.frame == "power_offs":
            return "still on", phase, "percentage at the stop", noted, instead
        return "reading", phase, str(source.point[doubt.row]), noted, instead
    noted, instead = _time(run, doubt.noted), _time(run, doubt.slip.value)
    if doubt.column == "t_min":
        return "time of a reading", phase, str(source.point[doubt.row]), noted, instead
    return "power-off", phase, _OFF_WORDS[doubt.column], noted, instead


def _rows(
    session: Session, search: _Search, groups: Sequence[Sequence[_Hit]]
) -> Iterator[tuple[object, ...]]:
    told = {group[0].doubt.frame for group in groups}
    sources = {name: _Source(getattr(session, name)) for name in told}
    for rank, group in enumerate(groups, start=1):
        source, row = sources[group[0].doubt.frame], group[0].doubt.row
        run = session.runs[group[0].doubt.run]
        for hit in group:
            what, phase, point, noted, instead = _told(source, run, hit.doubt)
            conclusion = search.conclusions[hit.place]
            yield (
                run.number, rank, conclusion.statement, VERDICTS[conclusion.verdict],
                VERDICTS[hit.verdict], what, session.devices[hit.doubt.device].id, phase, point,
                hit.doubt.column, noted, instead, SLIP_WORDS[hit.doubt.slip.kind], len(group),
                int(source.line[row]), str(source.evidence[row]),
            )  # fmt: skip


def bearing(
    session: Session,
    settings: Settings,
    *,
    prepared: Prepared | None = None,
    known: Sequence[Ground] | None = None,
    runtimes: pd.DataFrame | None = None,
    said: pd.DataFrame | None = None,
    found: Segments | None = None,
    mixes: Mapping[str, Mapping[str, float]] | None = None,
) -> Bearing:
    """Return the readings to look at again before publishing, and the claims that bear any slip.

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
    runtimes, said
        Frames of `kit.runtime.runtimes` and of `kit.claims.claims`, if they were made already.
    found, mixes
        From `kit.drain.segments.segments` and `kit.drain.usage_mix.chosen_mixes`, likewise.

    Returns
    -------
    Bearing
        ``readings``: one row for each claim that a number of the record, if misread, would change.
        ``rank`` counts the numbers over all runs; ``run`` is that of the number; ``instead`` is
        the likeliest other number that changes the claim, ``slip`` how it comes about,
        ``verdict_if_misread`` what the claim would then be, ``affected`` how many claims hang on
        the number; ``line`` and ``evidence`` point to it. ``robust``: the claims whose verdict
        would be the same for every slip that was asked about.

    Notes
    -----
    Asked is every claim that the report prints: on one run, on means over several runs, on kinds
    of device, and who lasts longest on each mix (the session's own keeps its weights). A
    percentage may have been one or ten more or less, a look-alike or an exchange of digits between
    what was read or seen before and after it, since a display does not rise; a noted time any such
    minute that keeps the order of the notes. Danger = how likely the slip × how urgent the claim ×
    (1 if it was supported, else ½; that no one lasts longest on a mix counts as open). Derived in
    docs/runtimes.md.
    """
    ready = prepare(session) if prepared is None else prepared
    ground = grounds(ready, settings) if known is None else known
    lasted = (
        runtime_tables(session, offs=ready.chains.off_times)[0] if runtimes is None else runtimes
    )
    table = (
        claims(session, settings, prepared=ready, runtimes=lasted, known=ground)
        if said is None
        else said
    )
    speech = Speech.of(session)
    stretches = segments(ready, coverage=settings.coverage) if found is None else found
    asked_mixes = (
        chosen_mixes(session, settings, prepared=ready, found=stretches) if mixes is None else mixes
    )
    conclusions = list(printed(table))
    askings = [
        Asking.of(
            speech, ground[place], conclusions,
            OnMixes(ready, place, asked_mixes, stretches, settings.coverage),
        )
        for place in range(len(session.runs))
    ]  # fmt: skip
    search = _Search(conclusions)
    taken = {place for asking in askings for place in asking.places.tolist()}
    places = np.array([p for p in range(len(search.conclusions)) if p not in taken], dtype=np.int64)
    overall = Overall(ready, lasted, [search.conclusions[p] for p in places.tolist()], settings)
    for asking in askings:
        _ask_readings(search, ready, asking, stretches.swaps, overall, places)
        _ask_offs(search, ready, asking, overall, places)
    groups = search.likeliest()
    robust = [
        (c.run, c.statement, VERDICTS[c.verdict])
        for place, c in enumerate(search.conclusions)
        if place not in search.touched
    ]
    return Bearing(
        readings=frame_of_rows("load_bearing", list(_rows(session, search, groups))),
        robust=frame_of_rows("robust_claims", robust),
    )
