"""What the list of load-bearing readings says, against changed records that are analysed anew."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from kit.claims import claims
from kit.claims.conclusions import Conclusion, asked_of_run, printed
from kit.claims.doubts import (
    off_doubts,
    reading_doubts,
    seen_doubts,
    stop_doubts,
    swap_doubts,
)
from kit.claims.evidence import evidence
from kit.claims.judge import grounds
from kit.claims.load_bearing import bearing
from kit.claims.verdicts import VERDICTS, Asked, verdicts
from kit.claims.words import Speech
from kit.drain.phases import prepare
from kit.drain.swaps import with_swaps
from kit.drain.usage_mix import chosen_mixes, usage_mixes
from kit.labels import device_names
from kit.read.record import read_record
from kit.results import Settings
from kit.session import Phase
from kit.simulate import random_day, simulate_day
from tests.coverage_study.worlds import WORLDS
from tests.helpers.builders import BARE, make_session
from tests.helpers.files import SAMPLES
from tests.helpers.unlike_days import unlike_runs

SETTINGS = Settings()
OPPOSITE = {"supported": "not_supported", "not_supported": "supported"}


def a_day(world, seed):
    draw = {w.name: w for w in WORLDS}[world].draw
    rng = np.random.default_rng(seed)
    session = simulate_day(random_day(draw, rng), rng)[1]
    lines = np.arange(len(session.readings)) + 2
    return replace(session, readings=session.readings.assign(line=lines))


def sample(name):
    return read_record(SAMPLES / name)[0]


def minutes(run, text):
    """Return minutes since the start for a time as it is told."""
    hours, mins = map(int, text.replace(" h ", ":").removesuffix(" min").split(":"))
    total = 60 * hours + mins
    if run.start is None:
        return float(total)
    return float((total - run.start.hour * 60 - run.start.minute) % 1440)


def noted_only():
    """Return a day on which nobody noted when a device was last seen on.

    A is read at 138 and found off at 147, B read at the end of p2, 120, and found off at 130: by a
    digital clock [138, 148) and [120, 131).
    """
    return make_session(
        phases={"p1": 60, "p2": 60, "p3": 60}, devices=["A", "B"], start=None, assumptions=BARE,
        readings={"A": [97, 52, 14], "B": [97, 53, 12]},
        more_readings=[
            {"device": "A", "phase": "p3", "point": "inside", "t_min": 138.0, "soc_pct": 4}
        ],
        power_offs={"A": 147.0, "B": 130.0},
    )  # fmt: skip


def changed_as_told(session, row):
    """Return the record with one number as a row of the list would have it."""
    if row.what == "time of a reading":
        run = next(r for r in session.runs if r.number == row.run)
        frame = session.readings.copy()
        at = frame.index[(frame["line"] == row.line) & (frame["device"] == row.device)]
        assert len(at) == 1
        frame.loc[at, "t_min"] = minutes(run, row.instead)
        return replace(session, readings=frame)
    if row.what == "reading":
        frame = session.readings.copy()
        at = frame.index[(frame["line"] == row.line) & (frame["device"] == row.device)]
        assert len(at) == 1
        frame.loc[at, "soc_pct"] = float(row.instead.split()[0])
        return replace(session, readings=frame)
    run = next(r for r in session.runs if r.number == row.run)
    frame = session.power_offs.copy()
    at = frame.index[(frame["run"] == row.run) & (frame["device"] == row.device)]
    assert len(at) == 1
    at_stop = row.instead.endswith("%")
    frame.loc[at, row.column] = (
        float(row.instead.split()[0]) if at_stop else minutes(run, row.instead)
    )
    return replace(session, power_offs=frame)


def changed_by(session, doubt):
    frame = getattr(session, doubt.frame).copy()
    frame.loc[frame.index[doubt.row], doubt.column] = doubt.slip.value
    return replace(session, **{doubt.frame: frame})


def longest_on_mixes(session, mixes):
    """Return for run and mix who is alone in having a first place; "" nobody, None: no order."""
    frame = usage_mixes(session, SETTINGS, mixes=mixes)
    found = {}
    for (run, mix), here in frame.groupby(["run", "mix"], sort=False):
        ranked = here[here["rank_best"].notna()]
        first = ranked[ranked["rank_best"] == 1]["device"].tolist()
        found[run, mix] = None if len(ranked) < 2 else first[0] if len(first) == 1 else ""
    return found


class Table:
    """The conclusions of a record, and what another record says of them."""

    def __init__(self, session):
        self.ready = prepare(session)
        self.ground = grounds(self.ready, SETTINGS)
        said = printed(claims(session, SETTINGS, prepared=self.ready, known=self.ground))
        self.mixes = chosen_mixes(session, SETTINGS)
        self.winners = longest_on_mixes(session, self.mixes)
        names = device_names(session)
        on_mixes = []
        for (run, mix), device in self.winners.items():
            if device is None:
                continue
            where = f"On “{mix}”" + (f" in run {run}" if len(session.runs) > 1 else "")
            text = (
                f"{where}, {names[device]} lasts longest"
                if device
                else (f"{where} no one device can be called the longest-lasting")
            )
            on_mixes.append(Conclusion(run, text, 0, 2, "mix", device, "", mix))
        self.said = (*said, *on_mixes)
        speech = Speech.of(session)
        self.claims = {}
        for place, ground in enumerate(self.ground):
            of_run, places = asked_of_run(speech, ground, self.said)
            self.claims |= dict(zip(places, ((place, claim) for claim in of_run), strict=True))

    def again(self, session):
        """Return the verdicts of another record on the same sentences, and how many it has too."""
        ready = prepare(session)
        frame = claims(session, SETTINGS, prepared=ready)
        by_text = dict(zip(frame["statement"], frame["verdict"], strict=True))
        by_pair = {(r.code, r.device_a, r.device_b): r.verdict for r in frame.itertuples()}
        found = [evidence(ready, run, SETTINGS) for run in range(len(session.runs))]
        verdict, same = [], 0
        winners = longest_on_mixes(session, self.mixes)
        for place, conclusion in enumerate(self.said):
            if conclusion.code == "mix":
                device, then = conclusion.device_a, winners[conclusion.run, conclusion.group]
                open_ = "tied" if device else "supported"
                now = {None: "cannot_be_said", "": open_, device or "-": "supported"}.get(
                    then, "not_supported"
                )
            elif place in self.claims:
                run, claim = self.claims[place]
                asked = Asked([claim])
                now = VERDICTS[int(verdicts(asked, found[run].facts, found[run].open_pairs)[0])]
                if conclusion.statement in by_text:
                    same += 1
                    assert by_text[conclusion.statement] == now
            else:
                now = by_text.get(conclusion.statement, "")
                if not now:
                    turned = (conclusion.code, conclusion.device_b, conclusion.device_a)
                    now = by_pair.get(turned, "cannot_be_said")
                    now = OPPOSITE.get(now, now)
            verdict.append(now)
        return verdict, same


def charged_runs():
    """Return three runs of three devices, one of which was charged in the second of them.

    The others go off 4 to 7 min apart.
    """
    session = unlike_runs(charged_in=(2,))
    times, offs = ["last_on_min", "first_off_min"], session.power_offs.copy()
    offs.loc[offs["device"] == "du", times] += 33.0
    offs.loc[offs["device"] == "pe", times] -= 50.0
    session = replace(session, power_offs=offs)
    lines = np.arange(len(session.readings)) + 2
    return replace(session, readings=session.readings.assign(line=lines))


CASES = [
    pytest.param(lambda: sample("replicates"), id="replicates"),
    pytest.param(lambda: sample("full-day"), id="full-day", marks=pytest.mark.slow),
    pytest.param(lambda: sample("scorecard"), id="scorecard"),
    pytest.param(lambda: a_day("early deaths", 21), id="early deaths"),
    pytest.param(lambda: a_day("ticks", 22), id="ticks"),
    pytest.param(lambda: a_day("replicates", 23), id="runs"),
    pytest.param(noted_only, id="noted only"),
    pytest.param(charged_runs, id="charged in a run"),
]


@pytest.mark.parametrize("make", CASES)
def test_a_listed_slip_gives_the_verdict_that_is_told(make):
    session = make()
    table = Table(session)
    frame = bearing(session, SETTINGS).readings
    place = {c.statement: p for p, c in enumerate(table.said)}
    rng = np.random.default_rng(1)
    told = rng.permutation(len(frame))[:12]
    assert told.size
    common = 0
    for at in told.tolist():
        row = next(frame.iloc[[at]].itertuples())
        now, same = table.again(changed_as_told(session, row))
        common += same
        assert VERDICTS[table.said[place[row.statement]].verdict] == row.verdict
        assert now[place[row.statement]] == row.verdict_if_misread != row.verdict, row
    assert common


@pytest.mark.parametrize("make", CASES)
def test_no_slip_changes_what_is_called_robust(make):
    session = make()
    table = Table(session)
    robust = set(bearing(session, SETTINGS).robust["statement"])
    ready = table.ready
    swaps = with_swaps(ready)
    doubts = [
        doubt
        for run, ground in enumerate(table.ground)
        for doubt in (
            *reading_doubts(ready, run),
            *off_doubts(ready, run, ground.found),
            *stop_doubts(ready, run),
            *swap_doubts(ready, run, swaps),
            *seen_doubts(ready, run),
        )
    ]
    rng = np.random.default_rng(2)
    picked = rng.permutation(len(doubts))[:20]
    assert picked.size
    for at in picked.tolist():
        now, _ = table.again(changed_by(session, doubts[at]))
        for conclusion, verdict in zip(table.said, now, strict=True):
            if conclusion.statement in robust:
                assert verdict == VERDICTS[conclusion.verdict], (doubts[at], conclusion)


@pytest.mark.parametrize("make", CASES)
def test_every_printed_sentence_is_listed_or_robust_or_lost(make):
    # A sentence is in neither list only where slips leave it tied, or nothing to be said at all.
    session = make()
    table = Table(session)
    found = bearing(session, SETTINGS)
    listed, robust = set(found.readings["statement"]), set(found.robust["statement"])
    assert not listed & robust
    assert listed | robust <= {c.statement for c in table.said}
    rest = [c for c in table.said if c.statement not in listed | robust]
    assert all(VERDICTS[c.verdict] == "tied" for c in rest)


@pytest.mark.parametrize(
    "name", ["replicates", "full-day", "scorecard", "autumn-check", "after-midnight"]
)
def test_the_sentences_asked_are_those_that_the_report_prints(name):
    from kit.analyse import analyse
    from kit.show.tables.claims import LISTED
    from kit.show.wording.mixing import mix_order

    session = sample(name)
    results = analyse(session, (), SETTINGS)
    frame = results.extra["claims"]
    shown = frame[frame["priority"] <= LISTED]
    assert {c.statement for c in printed(frame)} == set(shown["statement"])
    listed = set(results.extra["load_bearing"]["statement"])
    told = " ".join(mix_order(results))
    assert all(text in told for text in listed - set(shown["statement"]))
    # every one is asked: of one run by its claim, else as a sentence on two devices
    table = Table(session)
    asked = {table.said[place].statement for place in table.claims}
    others = {c.code for c in table.said if c.statement not in asked} - {"mix"}
    assert others <= {"longer_on_average", "longest_on_average", "lasts_longer"}


def test_the_time_of_the_last_reading_can_bear_a_conclusion():
    # A was read at 138, B off before 131: apart by 7 min. Read at 128, ten off, they share the
    # minutes to 131: tied. B's reading at 120 bounds its power-off, too, but from the other side.
    session = noted_only()
    ready = prepare(session)
    asked = {(d.device, d.noted) for d in seen_doubts(ready, 0)}
    assert asked == {(0, 138.0), (1, 120.0)}
    frame = bearing(session, SETTINGS).readings
    times = frame[frame["what"] == "time of a reading"]
    assert {(r.device, r.noted, r.instead, r.slip) for r in times.itertuples()} >= {
        ("A", "2:18", "2:08", "ten off"),
    }  # fmt: skip
    longer = times[times["statement"] == "A outlasted B"]
    assert {(r.verdict, r.verdict_if_misread) for r in longer.itertuples()} == {
        ("supported", "tied"),
    }  # fmt: skip


def crossover_day():
    """Return a day of three devices with a crossover whose swap was read.

    A and B film first, C calls first; 97 → 90 → 80, so that the first half took 7 and the second
    10 (A), 13 and 4 (B), 9 and 8 (C).
    """
    phases = [
        Phase(
            id="x", label="", kind="crossover", parts=("film", "call"), first_half=("A", "B"),
            planned_min=120,
        ),
        Phase(id="map", label="", activity="map", planned_min=60),
    ]  # fmt: skip
    middle = [
        {"device": d, "phase": "x", "point": "inside", "t_min": 60.0, "soc_pct": soc}
        for d, soc in (("A", 90), ("B", 84), ("C", 88))
    ]
    return make_session(
        phases=phases, devices=["A", "B", "C"], start=None, assumptions=BARE, more_readings=middle,
        readings={"A": [97, 80, 70], "B": [97, 80, 66], "C": [97, 80, 71]},
    )  # fmt: skip


def test_the_reading_at_a_swap_can_bear_a_conclusion():
    # Filming first, A fell 7 and B 13, 6 apart, which stands. A's 90 at the swap read as 80, ten
    # off: 17 against 13, and it was B that fell less.
    session = crossover_day()
    ready = prepare(session)
    doubts = swap_doubts(ready, 0, with_swaps(ready))
    assert {(d.device, d.noted) for d in doubts} == {(0, 90.0), (1, 84.0), (2, 88.0)}
    frame = bearing(session, SETTINGS).readings
    at_swap = frame[frame["point"] == "inside"]
    assert set(at_swap["device"]) >= {"A", "B"}
    table = Table(session)
    place = {c.statement: p for p, c in enumerate(table.said)}
    found = {(r.line, r.device): r for r in at_swap.itertuples()}
    for row in found.values():
        now, _ = table.again(changed_as_told(session, row))
        assert now[place[row.statement]] == row.verdict_if_misread != row.verdict
    robust = set(bearing(session, SETTINGS).robust["statement"])
    for doubt in doubts:
        now, _ = table.again(changed_by(session, doubt))
        for conclusion, verdict in zip(table.said, now, strict=True):
            assert conclusion.statement not in robust or verdict == VERDICTS[conclusion.verdict]


def test_the_percentage_at_the_stop_can_bear_a_conclusion():
    # A is still on with 40 at the stop, the end of p2: 71 − 40 = 31 pp, B 71 − 45 = 26: B drained
    # less. One off, 41, leaves 30, 4 apart. A 0 for a 6: 71 − 46 = 25 pp, 1 apart, which is tied.
    session = make_session(
        phases={"p1": 60, "p2": 60}, devices=["A", "B"], start=None, assumptions=BARE,
        readings={"A": [97, 71], "B": [97, 71, 45]}, still_on={"A": 120.0},
    )  # fmt: skip
    session = replace(session, power_offs=session.power_offs.assign(soc_pct=40.0, phase="p2"))
    frame = bearing(session, SETTINGS).readings
    at_stop = frame[frame["what"] == "still on"]
    told = {(r.noted, r.instead, r.slip) for r in at_stop.itertuples()}
    assert told == {("40 %", "46 %", "a digit confused")}
    assert set(at_stop["verdict_if_misread"]) == {"tied"}
    table = Table(session)
    place = {c.statement: p for p, c in enumerate(table.said)}
    for row in at_stop.itertuples():
        offs = session.power_offs.assign(soc_pct=float(row.instead.split()[0]))
        now, _ = table.again(replace(session, power_offs=offs))
        assert now[place[row.statement]] == row.verdict_if_misread


def test_a_power_off_noted_before_a_charge_can_bear_a_conclusion_on_kinds():
    # B off before 501 and charged from 505 on: 400 min apart. Seen off at 510, ten off, it may have
    # been on when the charge began, and its runtime says nothing of its kind.
    session = make_session(
        devices=["A", "B"], phases={"day": 1000}, start=None,
        power_offs={"A": {"last_on_min": 899.0, "first_off_min": 900.0},
                    "B": {"last_on_min": 499.0, "first_off_min": 500.0}},
        charges=[{"run": 1, "device": "B", "start_min": 505.0, "end_min": 600.0}],
    )  # fmt: skip
    frame = bearing(session, SETTINGS).readings
    kind = frame[(frame["statement"].str.startswith("A device like")) & (frame["device"] == "B")]
    (row,) = kind.itertuples()
    assert (row.column, row.slip) == ("first_off_min", "ten off")
    assert (row.verdict, row.verdict_if_misread) == ("supported", "cannot_be_said")
    table = Table(session)
    place = {c.statement: p for p, c in enumerate(table.said)}
    now, _ = table.again(changed_as_told(session, row))
    assert now[place[row.statement]] == "cannot_be_said"
